// What is entered is kept on the device first and sent until the server says that it is stored. Each entry has a number of its
// own, so that sending it twice stores it once. For pages:
//   bench.enter({study, kind, cells, saw, at, after}) -> promise of the answer, with .id; `after` names an entry of before whose
//     record is then the one that was seen
//   bench.on("saved", (entry, answer) => ...)   bench.waiting() -> promise of the entries not yet answered
//   bench.device.read(key, otherwise), .write(key, value): small things kept on the device
//   bench.data() -> what the page was given     bench.now() -> the server's time as a Date
"use strict";

const bench = (() => {
  const meta = (name) => document.querySelector(`meta[name="${name}"]`)?.content ?? "";
  const WAITS = [1000, 2000, 4000, 8000, 15000]; // ms from one try to the next
  const LONGEST = window.benchPatience ?? 12000; // ms that an answer is waited for
  const KEPT = 400; // records of answered entries that later ones may build on
  const listeners = { saved: [] };
  const answered = new Map(); // id -> {resolve}
  const mark = meta("bench-mark");
  const token = meta("bench-token");

  // --- the clock: the server's, as far as it is known -----------------------------------------------------------------------

  let offset = (Number(meta("bench-now")) || Date.now()) - Date.now();
  if (performance.getEntriesByType && performance.getEntriesByType("navigation")[0]?.type === "back_forward") offset = 0;
  const now = () => new Date(Date.now() + offset);

  async function putClockRight() {
    try {
      const before = Date.now();
      const answer = await fetch("/now", { cache: "no-store" });
      const there = (await answer.json()).now;
      offset = there - (before + Date.now()) / 2;
    } catch { /* without network the clock stays as it was */ }
  }

  // --- kept on the device -----------------------------------------------------------------------------------------------------

  const opened = new Promise((resolve) => {
    let asked;
    try { asked = indexedDB.open("bench", 1); } catch { resolve(null); return; }
    asked.onupgradeneeded = () => {
      asked.result.createObjectStore("entries", { keyPath: "place", autoIncrement: true });
      asked.result.createObjectStore("records", { keyPath: "id" });
    };
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => resolve(null);
  });
  const memory = { entries: [], records: new Map(), asks: new Map(), place: 0 }; // where the device lets nothing be kept (a private window)

  const done = (request) => new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
  const finished = (change) => new Promise((resolve, reject) => {
    change.oncomplete = () => resolve();
    change.onerror = change.onabort = () => reject(change.error);
  });
  const store = (db, name, mode) => db.transaction(name, mode, { durability: "strict" }).objectStore(name);

  // What the device cannot keep (a private window, no room left) is held by this page until it is answered.
  function hold(item, instead) {
    if (instead) memory.entries = memory.entries.filter((one) => one !== instead);
    if (item.place === undefined) { item.place = `held ${++memory.place}`; memory.entries.push(item); }
  }
  const held = (item) => typeof item.place === "string";

  async function put(item, instead = null) { // `instead` goes when this one is kept: both or neither
    const db = await opened;
    if (!db || held(item)) { hold(item, instead); return; }
    try {
      const change = db.transaction("entries", "readwrite", { durability: "strict" });
      const asked = change.objectStore("entries").put(item);
      let place;
      asked.onsuccess = () => { place = asked.result; };
      if (instead && !held(instead)) change.objectStore("entries").delete(instead.place);
      await finished(change);
      item.place = place;
      if (instead && held(instead)) hold(item, instead);
    } catch (error) {
      if (item.place !== undefined) return; // it is kept as it was
      hold(item, null);
    }
  }
  async function remove(item) {
    const db = await opened;
    memory.asks.delete(item.entry.id);
    if (!db || held(item)) memory.entries = memory.entries.filter((one) => one.place !== item.place);
    else await done(store(db, "entries", "readwrite").delete(item.place));
  }
  async function every() {
    const db = await opened;
    let found = [];
    try { if (db) found = await done(store(db, "entries", "readonly").getAll()); } catch { /* what this page holds is left */ }
    return [...found, ...memory.entries].map((one) => Object.assign(one, { asks: one.asks ?? memory.asks.get(one.entry.id) ?? null }));
  }
  async function recordOf(id) {
    const db = await opened;
    if (!db || memory.records.has(id)) return memory.records.get(id);
    return (await done(store(db, "records", "readonly").get(id)))?.record;
  }
  async function keepRecord(id, record) {
    const db = await opened;
    try {
      const change = db.transaction("records", "readwrite");
      const records = change.objectStore("records");
      records.put({ id, record, at: Date.now() });
      const all = records.getAll();
      all.onsuccess = () => all.result.sort((a, b) => b.at - a.at).slice(KEPT).forEach((one) => records.delete(one.id));
      await finished(change);
    } catch { memory.records.set(id, record); }
  }

  // --- entering and sending -----------------------------------------------------------------------------------------------------

  const number = () => [...crypto.getRandomValues(new Uint8Array(16))].map((one) => one.toString(16).padStart(2, "0")).join("");

  function enter({ study, kind, cells, saw, at, after }, instead = null, whose = mark) {
    const entry = { id: number(), study, kind, cells, saw, at: at || now().toISOString(), after, mark: whose };
    const answer = new Promise((resolve) => answered.set(entry.id, resolve));
    answer.id = entry.id;
    arriving += 1;
    paint();
    chain = chain.then(() => put({ entry, asks: null }, instead)).finally(() => { arriving -= 1; }).then(show, show);
    chain.then(send);
    return answer;
  }
  let chain = Promise.resolve(); // entries are kept in the order in which they were made

  let arriving = 0; // entered, and not kept on the device yet
  let kept = 0; // kept on the device and not answered yet
  let sending = false;
  let again = false; // something came while the queue was being looked through
  let tries = 0;
  let timer = 0;
  let trouble = "";

  const same = (one, other) => (one || "").toLowerCase() === (other || "").toLowerCase();

  async function send() {
    if (sending) { again = true; return; }
    sending = true;
    clearTimeout(timer);
    try {
      for (;;) {
        again = false;
        const item = (await every()).find((one) => !one.asks && same(one.entry.mark, mark));
        if (!item && again) continue;
        if (!item) { trouble = ""; tries = 0; break; }
        const outcome = await sendOne(item);
        if (outcome === "later") { timer = setTimeout(send, WAITS[Math.min(tries++, WAITS.length - 1)]); break; }
        if (outcome === "stop") break;
        tries = 0;
      }
    } catch (error) {
      trouble = String(error);
      timer = setTimeout(send, WAITS[Math.min(tries++, WAITS.length - 1)]);
    }
    sending = false;
    show();
  }

  async function sendOne(item) {
    const { after, ...entry } = item.entry;
    if (after) {
      const record = await recordOf(after);
      if (record !== undefined) entry.saw = record;
    }
    let answer;
    const patience = new AbortController();
    const over = setTimeout(() => patience.abort(), LONGEST); // it may be sent again: its number stores it once
    try {
      const got = await fetch("/enter", {
        method: "POST", signal: patience.signal, cache: "no-store", redirect: "error",
        headers: { "Content-Type": "application/json", "X-Bench-Token": token, Accept: "application/json" },
        body: JSON.stringify(entry),
      });
      if (got.status === 401) { trouble = "pair"; return "stop"; }
      if (got.status === 403) { trouble = "token"; return (await freshToken()) ? "later" : "stop"; }
      if (got.status === 429 || got.status >= 500) { trouble = "busy"; return "later"; }
      answer = await got.json();
    } catch { trouble = "network"; return "later"; } finally { clearTimeout(over); }
    trouble = "";
    sessionStorage.removeItem("bench fresh");
    if (answer.status === "mark") { trouble = "mark"; return "stop"; } // the device has another mark than this page knows
    if (answer.status === "other" || answer.status === "refused") {
      memory.asks.set(item.entry.id, answer); // also where the device cannot keep that it was asked about
      item.asks = answer; // what builds on it keeps the record that its writer saw, so that it is asked about too
      await put(item);
    } else {
      await keepRecord(item.entry.id, answer.record ?? 0);
      await remove(item);
    }
    show();
    answered.get(item.entry.id)?.(answer);
    answered.delete(item.entry.id);
    listeners.saved.forEach((listener) => listener(item.entry, answer));
    return "sent";
  }

  let asked = false; // a page left open over night carries yesterday's token: it is loaded anew, once
  async function freshToken() {
    if (asked) return false;
    asked = true;
    if (!sessionStorage.getItem("bench fresh")) {
      sessionStorage.setItem("bench fresh", "1");
      location.reload();
      return true;
    }
    return false;
  }

  // --- what the page shows of it --------------------------------------------------------------------------------------------------

  const REASONS = {
    network: "No connection. They are kept here and sent by themselves.",
    busy: "The book is busy. They are sent again by themselves.",
  };

  async function show() {
    const all = await every();
    const waiting = all.filter((one) => !one.asks);
    kept = waiting.length;
    paint();
    ask(all.filter((one) => one.asks), waiting);
  }

  function paint() {
    const badge = document.getElementById("queue-badge");
    const many = kept + arriving;
    if (!badge) return;
    badge.classList.toggle("waiting", many > 0);
    const text = many ? `${many} not saved yet` : "saved";
    if (badge.textContent !== text) badge.textContent = text;
    const why = document.getElementById("queue-why");
    if (why) why.textContent = many && REASONS[trouble] ? REASONS[trouble] : "";
  }

  const element = (tag, text, attributes = {}) => {
    const made = document.createElement(tag);
    if (text) made.textContent = text;
    Object.entries(attributes).forEach(([name, value]) => made.setAttribute(name, value));
    return made;
  };
  const button = (text, act) => {
    const made = element("button", text, { type: "button" });
    made.addEventListener("click", () => { made.disabled = true; act(); });
    return made;
  };

  let shown = "";
  function ask(items, waiting) {
    const place = document.getElementById("queue-asks");
    const others = [...new Set(waiting.map((one) => one.entry.mark).filter((one) => trouble === "mark" || !same(one, mark)))];
    const lost = waiting.some(held);
    const key = JSON.stringify([items.map((one) => one.entry.id), others, lost, waiting.length > 0 ? trouble : ""]);
    if (!place || key === shown) return;
    shown = key;
    place.replaceChildren();
    if (waiting.length && trouble === "pair") {
      const box = element("div", "", { class: "ask" });
      box.append(element("p", `This device is not paired today. ${waiting.length} entries are kept here and go out once it is.`), element("a", "Pair it", { href: "/pair", class: "button" }));
      place.append(box);
    }
    for (const whose of others) {
      const box = element("div", "", { class: "ask" });
      box.append(element("p", `Entries of ${whose} wait on this device. Take the mark ${whose} again, so that they are saved as ${whose}'s.`), element("a", "Change the mark", { href: `/mark?next=${encodeURIComponent(location.pathname)}`, class: "button" }));
      place.append(box);
    }
    if (lost) {
      const box = element("div", "", { class: "ask" });
      box.append(element("p", "This device cannot keep entries itself (a private window, or no room left). Leave this page open until they are saved."));
      place.append(box);
    }
    if (waiting.length && trouble === "token") {
      const box = element("div", "", { class: "ask" });
      box.append(element("p", `This page is too old to send. ${waiting.length} entries are kept here; reload it, and they go out.`), element("a", "Reload", { href: location.pathname, class: "button" }));
      place.append(box);
    }
    for (const item of items) {
      const box = element("div", "", { class: "ask" });
      const what = item.entry.cells.tile ? `Tile ${item.entry.cells.tile}` : item.entry.cells.batch || item.entry.kind;
      const says = item.asks.says?.length ? item.asks.says.join(" ") : "This was not stored.";
      box.append(element("p", `${what}: ${says}`));
      const choices = element("div", "", { class: "choices" });
      if (item.asks.status === "other") {
        choices.append(
          button("Keep what stands", () => drop(item)),
          button("Put mine", () => {
            const { study, kind, cells, at } = item.entry;
            enter({ study, kind, cells, saw: item.asks.record ?? 0, at }, item, item.entry.mark);
          }),
        );
      } else choices.append(button("Read; put it away", () => drop(item)));
      box.append(choices);
      place.append(box);
    }
  }
  async function drop(item) { await remove(item); show(); }

  window.addEventListener("online", () => { tries = 0; send(); });
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") { putClockRight(); tries = 0; send(); } });
  window.addEventListener("pageshow", () => { putClockRight(); show(); send(); });
  document.addEventListener("DOMContentLoaded", () => { show(); });

  // --- small things that a page keeps on the device, beside the queue ---------------------------------------------------------

  const device = {
    read: (key, otherwise) => {
      try { return JSON.parse(localStorage.getItem(key)) ?? otherwise; } catch { return otherwise; }
    },
    write: (key, value) => {
      try { localStorage.setItem(key, JSON.stringify(value)); } catch { /* private window: then it is not kept */ }
    },
  };

  return {
    enter,
    now,
    device,
    on: (what, listener) => listeners[what].push(listener),
    waiting: async () => (await every()).filter((one) => !one.asks).map((one) => one.entry),
    data: () => JSON.parse(document.getElementById("data")?.textContent || "null"),
  };
})();
