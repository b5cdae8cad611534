// The run page: tiles go in and come out, baths are made up and put out of use, and what went otherwise is noted.
// What stands comes from the book every few seconds; what was entered here and is still on its way is laid over it.
"use strict";

(() => {
  const $ = (id) => document.getElementById(id);
  const HERE = document.location.pathname;
  const EVERY = 5000; // ms from one look at the book to the next
  const SLIP = 1000; // ms: a second tap so soon after a button changed its meaning was meant for what it said before
  const SHORTLY = 900; // s: what comes out later than that is not pinned on top
  const MOVED = 600; // ms: so soon after the timers moved, a tap was meant for the one that stood there
  const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);

  let sheet = bench.data(); // as the book has it
  let seen = sheet; // with what is still on its way
  let mine = []; // entries not yet seen in the book: {id, kind, cells, at, settled}
  let open = ""; // code of the tile, or "batch " and code, whose further choices are open
  let sure = ""; // code of the tile whose start was asked back
  let stale = false;
  const troubles = new Map(); // by tile or bath: why the last entry was not stored

  const study = sheet.study;
  const MISHAPS = ["dropped", "touched", "out too early", "out too late", "uneven", ...(sheet.spent ? [`${sheet.word} clouded`] : [])];
  const BATCH_NOTES = ["colder than planned", "warmer than planned", "smelled weak", "tile lost in it"];

  // --- kept on the device: what can be taken back, and notes on tiles that are not out yet -------------------------------

  const { read, write } = bench.device;
  const whose = document.querySelector('meta[name="bench-mark"]')?.content ?? "";
  const DONE = `run done ${study} ${sheet.session} ${whose}`;
  const NOTES = `run notes ${study} ${sheet.session}`;
  const SHIFT = 12 * 3600 * 1000; // ms: what was entered before is taken back on its tile, not by one tap
  let done = read(DONE, []).filter((one) => Date.now() - one.when < SHIFT); // {id, kind, cells, before, says, when}, last one last
  const notes = read(NOTES, {});

  // --- entering ----------------------------------------------------------------------------------------------------------

  const nowMs = () => bench.now().getTime();
  const say = (text) => { $("said").textContent = text; };

  function send(entry, says, before = null) {
    const at = bench.now().toISOString();
    const of = (one) => { const cells = one.undone?.cells ?? one.cells; return cells.tile ?? `batch ${cells.batch}`; };
    const earlier = mine.filter((one) => ["stop", "made", "batches", "undo"].includes(one.kind) && of(one) === of(entry)).pop();
    troubles.delete(entry.cells.tile || entry.cells.batch);
    const asked = ["made", "batches"].includes(entry.kind) ? { saw: entry.saw ?? 0, after: earlier ? earlier.id : undefined } : {};
    const sent = bench.enter({ study, kind: entry.kind, cells: entry.cells, at: entry.at || at, ...asked });
    mine.push({ id: sent.id, kind: entry.kind, cells: entry.cells, at: entry.at || at, undone: entry.undone, settled: false });
    if (entry.kind !== "undo" && !entry.hidden) {
      done = [...done, { id: sent.id, kind: entry.kind, cells: entry.cells, before, says, when: Date.now() }].slice(-30);
      write(DONE, done);
    }
    if (says) say(says);
    show();
    return sent.id;
  }

  function undo() {
    const last = done.pop();
    if (!last) return;
    write(DONE, done);
    send({ kind: "undo", cells: { entry: last.id }, undone: last }, `Taken back: ${last.says}`);
  }

  bench.on("saved", (entry, answer) => {
    if (entry.study !== study) return;
    const ours = mine.find((one) => one.id === entry.id);
    if (answer.status === "other" || answer.status === "refused") {
      const of = entry.cells.tile || entry.cells.batch || done.find((one) => one.id === entry.cells.entry)?.cells.tile;
      const why = (answer.says || []).join(" ") || "it was refused.";
      if (of) troubles.set(of, `⚠ Not stored: ${why}${answer.status === "other" ? " Choose on top of the page." : ""}`);
      say("Not stored: see what is said about it.");
      mine = mine.filter((one) => one.id !== entry.id);
      done = done.filter((one) => one.id !== entry.id);
      write(DONE, done);
    } else {
      if (ours) ours.settled = true;
      if (answer.says && answer.says.length) say(answer.says.join(" "));
    }
    show();
    look();
  });

  // --- looking at the book -----------------------------------------------------------------------------------------------

  let looking = false;
  let again = false;

  async function look() {
    if (looking) { again = true; return; }
    looking = true;
    const settled = mine.filter((one) => one.settled).map((one) => one.id);
    try {
      const answer = await fetch(`/state${HERE}`, { headers: { Accept: "application/json" }, cache: "no-store" });
      if (!answer.ok || answer.redirected) throw new Error(String(answer.status));
      sheet = await answer.json();
      mine = mine.filter((one) => !settled.includes(one.id));
      stale = false;
    } catch { stale = true; }
    looking = false;
    show();
    if (again) { again = false; look(); }
  }

  // --- what hands do -----------------------------------------------------------------------------------------------------

  const changedAt = new Map(); // when a tile's main button last changed its meaning

  function main(batch, tile) {
    runAlarm.wake().then(tick);
    if (performance.now() - (changedAt.get(tile.code) ?? -SLIP) < SLIP) return;
    const step = runSheet.next(tile);
    if (!step) return;
    if (step.do !== "stop" && warned(batch) && sure !== tile.code) {
      sure = tile.code;
      changedAt.set(tile.code, performance.now());
      say(`${capital(sheet.word)} ${batch.code} ${warned(batch)}. Tap once more if ${tile.code} is to go in all the same.`);
      show();
      return;
    }
    sure = "";
    if (step.do === "made") enterMade(tile, {}, `${tile.code} is made`);
    else if (step.do === "start") {
      const turn = tile.cycles > 1 ? ` (${step.cycle} of ${tile.cycles})` : "";
      send({ kind: "start", cells: { tile: tile.code, cycle: `${step.cycle}` } }, `${tile.code} is in${turn}`);
    } else out(tile);
  }

  function out(tile, last) {
    const dip = runSheet.inNow(tile);
    const spent = (nowMs() - Date.parse(dip.started)) / 1000;
    const cells = { tile: tile.code, cycle: `${dip.cycle}`, ...(last ? { last } : {}) };
    send({ kind: "stop", cells }, `${tile.code} is out after ${runSheet.inSeconds(spent)}`);
    passNotes();
  }

  const warned = (batch) => batch.discarded_at ? `was put out of use at ${time(batch.discarded_at)}` : clouded(batch) ? "has clouded" : "";
  const clouded = (batch) => /\bclouded\b/.test(batch.note || "");

  function enterMade(tile, cells, says, hidden = false) {
    return send({ kind: "made", cells: { tile: tile.code, ...cells }, saw: tile.record, hidden }, says, tile.made);
  }

  function passNotes() { // notes on tiles that had no record yet
    for (const tile of seen.batches.flatMap((one) => one.tiles)) {
      const note = notes[tile.code];
      if (!note || !tile.made) continue;
      delete notes[tile.code];
      write(NOTES, notes);
      const together = note.split("; ").reduce(runSheet.noted, tile.made.note || "");
      if (together !== tile.made.note) enterMade(tile, { note: together }, "", true);
    }
  }

  function note(shown, word) {
    const tile = fresh(shown);
    const there = tile.made ? tile.made.note || "" : notes[tile.code] || "";
    const words = there ? there.split("; ") : [];
    const after = words.includes(word) ? words.filter((one) => one !== word).join("; ") : runSheet.noted(there, word);
    if (tile.made) enterMade(tile, { note: after }, `${tile.code}: ${after || "no note"}`);
    else {
      if (after) notes[tile.code] = after; else delete notes[tile.code];
      write(NOTES, notes);
      say(after ? `${tile.code}: ${after}. It is kept here until ${tile.code} is made.` : `${tile.code}: no note.`);
      show();
    }
  }

  function spoil(shown, why, standIn) {
    const tile = fresh(shown);
    const dip = runSheet.inNow(tile);
    if (dip) send({ kind: "stop", cells: { tile: tile.code, cycle: `${dip.cycle}`, last: "no" }, hidden: true }, "");
    const cells = { spoiled: "yes", why: why || "not told", ...(standIn ? { replaced_by: "new" } : {}) };
    enterMade(tile, cells, `${tile.code} is spoiled${standIn ? ", a stand-in is on its way" : ""}`);
    delete notes[tile.code];
    write(NOTES, notes);
    close();
  }

  function onceMore(shown) { // the record is taken back, and the last time out with its own moment put in again
    const tile = fresh(shown);
    if (!tile.record || tile.waiting) { say(`${tile.code} is not saved yet. Try again in a moment.`); return; }
    const last = tile.dips[tile.dips.length - 1];
    const undone = { kind: "stop", cells: { tile: tile.code, cycle: `${last.cycle}` } };
    send({ kind: "undo", cells: { record: `${tile.record}` }, undone, hidden: true }, "");
    send({ kind: "stop", cells: { tile: tile.code, cycle: `${last.cycle}`, last: "no" }, at: new Date(last.stopped).toISOString(), hidden: true }, `${tile.code} goes in once more`);
    close();
  }

  const log = (batch, cells, says) => {
    const { made_at, discarded_at, note: noteThen } = batch;
    send({ kind: "batches", cells: { batch: batch.code, ...cells }, saw: batch.record }, says, { made_at, discarded_at, note: noteThen });
  };

  // --- the page ------------------------------------------------------------------------------------------------------------

  function make(tag, { text, on, ...attributes } = {}, ...inside) {
    const node = document.createElement(tag);
    if (text !== undefined) node.textContent = text;
    for (const [name, value] of Object.entries(attributes)) if (value !== false && value !== undefined) node.setAttribute(name, value === true ? "" : value);
    if (on) node.addEventListener("click", on);
    node.append(...inside);
    return node;
  }
  const button = (text, on, attributes = {}) => make("button", { type: "button", text, on, ...attributes });
  const set = (node, text) => { if (node.textContent !== text) node.textContent = text; };
  const time = (iso) => new Date(iso).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hour12: false });

  function close() {
    const was = open;
    open = "";
    show();
    queueMicrotask(() => { // what was below comes up: the tile stays in sight
      rows.get(was)?.row?.scrollIntoView({ block: "nearest" });
      handOn(was);
    });
  }

  let drawn = ""; // which baths and tiles there are on the page
  const rows = new Map(); // parts of each tile's row, and of each bath's head

  function draw() {
    const wanted = seen.batches.map((one) => `${one.code}: ${one.tiles.map((each) => each.code)}`).join("; ");
    if (wanted === drawn) return;
    drawn = wanted;
    rows.clear();
    $("batches").replaceChildren(...seen.batches.map((batch) => {
      const head = make("header", { class: "run-batch-head" });
      const tiles = make("ol", { class: "run-tiles" }, ...batch.tiles.map((tile) => drawTile(batch.code, tile)));
      const title = make("h2", { id: `b-${batch.code}`, text: `${capital(sheet.word)} ${batch.code}` });
      const parts = { head, says: make("p", { class: "run-batch-says" }), does: make("div", { class: "run-batch-does" }), panel: make("div", { class: "run-panel", hidden: true }) };
      head.append(title, make("p", { class: "run-settings", text: batch.settings.join(", ") }), parts.says, parts.does, parts.panel);
      rows.set(`batch ${batch.code}`, parts);
      return make("section", { class: "run-batch", "aria-labelledby": `b-${batch.code}` }, head, tiles);
    }));
  }

  const now = (code) => seen.batches.flatMap((batch) => batch.tiles.map((tile) => ({ batch, tile }))).find((one) => one.tile.code === code);

  function drawTile(batch, tile) {
    const parts = {
      code: make("h3", { class: "run-code", text: tile.code }),
      says: make("p", { class: "run-says" }),
      note: make("p", { class: "run-note" }),
      trouble: make("p", { class: "run-trouble", hidden: true }),
      main: make("button", { type: "button", class: "run-main" }),
      more: make("button", { type: "button", class: "run-more", "aria-expanded": "false" }),
      panel: make("div", { class: "run-panel", hidden: true }),
    };
    parts.main.addEventListener("click", () => { const { batch: of, tile: it } = now(tile.code); main(of, it); });
    parts.more.addEventListener("click", () => toggle(tile.code));
    set(parts.more, "More");
    parts.more.setAttribute("aria-label", `More for ${tile.code}`);
    const settings = tile.settings.map((one) => `${one.label} ${one.text}`).join(", ");
    const marks = [tile.reference ? "reference" : "", tile.replaces ? `stands in for ${tile.replaces}` : ""];
    const about = make("div", { class: "run-about" }, parts.code, make("p", { class: "run-settings", text: [settings, ...marks].filter(Boolean).join(" · ") }), parts.says, parts.note, parts.trouble);
    parts.row = make("li", { class: "run-tile", id: `tile-${tile.code}` }, about, parts.main, parts.more, parts.panel);
    rows.set(tile.code, parts);
    return parts.row;
  }

  function toggle(key) {
    open = open === key ? "" : key;
    for (const [name, parts] of rows) if (parts.filled && name !== open) { parts.panel.replaceChildren(); parts.filled = ""; }
    show();
    if (open) rows.get(open).panel.querySelector("button, input")?.focus({ preventScroll: true });
  }

  // One main button for each tile, and the words of its state.
  function face(batch, tile) {
    const step = runSheet.next(tile);
    const of = tile.cycles > 1 && step ? ` ${step.cycle} of ${tile.cycles}` : "";
    const spent = runSheet.times(tile).map((one) => runSheet.inSeconds(one)).join(", ");
    if (tile.state === "spoiled") {
      const other = tile.made.replaced_by;
      const why = tile.made.why && tile.made.why !== "not told" ? `: ${tile.made.why}` : "";
      return { sign: "✗", says: `Spoiled${why}${other && other !== "new" ? `. ${other} stands in.` : ""}`, button: "" };
    }
    if (tile.state === "made") {
      const differs = tile.settings.filter((one) => tile.made[`actual_${one.name}`]).map((one) => `${one.label} ${tile.made[`actual_${one.name}`]}`);
      return { sign: "✓", says: `Made${spent ? `, in ${spent}` : ""}${differs.length ? `. Really: ${differs.join(", ")}` : ""}`, button: "" };
    }
    if (tile.state === "in") return { sign: "●", says: `In${of} since ${new Date(runSheet.inNow(tile).started).toLocaleTimeString([], { hour12: false })}${untilWhen(tile)}${spent ? `; before: ${spent}` : ""}`, button: "Out" };
    const ask = sure === tile.code ? "In all the same" : step.do === "made" ? "Made" : "In";
    return { sign: tile.state === "between" ? "◐" : "○", says: tile.state === "between" ? `Out, goes in again; so far ${spent}` : "To make", button: `${ask}${step.do === "made" ? "" : of}` };
  }

  function untilWhen(tile) { // of what is in for long
    if (tile.dip_seconds === null || tile.dip_seconds < SHORTLY) return "";
    const at = new Date(Date.parse(runSheet.inNow(tile).started) + tile.dip_seconds * 1000);
    const sameDay = at.toDateString() === bench.now().toDateString();
    return `, out at ${sameDay ? "" : `${at.toLocaleDateString([], { weekday: "short" })} `}${time(at)}`;
  }

  function show() {
    seen = runSheet.overlay(sheet, mine);
    draw();
    const every = seen.batches.flatMap((batch) => batch.tiles.map((tile) => ({ batch, tile })));
    const following = every.find(({ tile }) => tile.state === "to make" || tile.state === "between");
    for (const { batch, tile } of every) {
      const parts = rows.get(tile.code);
      const { sign, says, button: text } = face(batch, tile);
      parts.row.dataset.state = tile.state;
      parts.row.classList.toggle("run-next", Boolean(following) && tile === following.tile);
      const planned = tile.state === "to make" && tile.start_at ? `, planned for ${tile.start_at}` : "";
      set(parts.says, `${sign} ${following && tile === following.tile && tile.state === "to make" ? "Next" : says}${planned}${tile.waiting ? " · not yet saved" : ""}`);
      const written = tile.made ? tile.made.note : notes[tile.code];
      set(parts.note, written ? `Note: ${written}` : "");
      parts.note.hidden = !written;
      set(parts.trouble, troubles.get(tile.code) || "");
      parts.trouble.hidden = !troubles.has(tile.code);
      if (parts.main.textContent !== text) changedAt.set(tile.code, parts.main.textContent ? performance.now() : -SLIP);
      set(parts.main, text);
      const held = document.activeElement === parts.main;
      parts.main.hidden = !text;
      if (held && !text) handOn(tile.code);
      parts.main.setAttribute("aria-label", `${tile.code}: ${text}`);
      panel(tile.code, parts, shownOf(tile), () => choices(tile));
      parts.more.setAttribute("aria-expanded", String(open === tile.code));
    }
    for (const batch of seen.batches) head(batch, rows.get(`batch ${batch.code}`));
    const over = every.filter(({ tile }) => tile.state === "made").length;
    const lost = every.filter(({ tile }) => tile.state === "spoiled").length;
    $("next").hidden = !following;
    if (following) { set($("next"), `Next: ${following.tile.code}`); $("next").setAttribute("href", `#tile-${following.tile.code}`); }
    set($("progress-text"), `${over} of ${every.length - lost} made${lost ? `, ${lost} spoiled` : ""}${stale ? " · no connection: others' entries are not shown" : ""}`);
    $("all-made").hidden = over + lost < every.length;
    const last = done[done.length - 1];
    $("undo").hidden = !last;
    set($("undo"), last ? `Undo ${last.cells.tile || last.cells.batch}` : "Undo");
    $("undo").setAttribute("aria-label", last ? `Undo: ${last.says}` : "Undo");
    passNotesSoon(every);
    tick();
  }

  function passNotesSoon(every) {
    if (every.some(({ tile }) => tile.made && notes[tile.code] && !tile.waiting)) queueMicrotask(passNotes);
  }

  // What the further choices show: only when that changes are they drawn anew, lest a button goes from under the finger.
  const shownOf = (tile) => JSON.stringify([
    tile.state, tile.dips.length, (tile.made ? tile.made.note : notes[tile.code]) || "",
    ...tile.settings.map((one) => (tile.made && tile.made[`actual_${one.name}`]) || ""),
  ]);
  const fresh = (tile) => now(tile.code).tile;

  function panel(key, parts, state, content) {
    parts.panel.hidden = open !== key;
    if (open !== key || parts.filled === state) return;
    if (parts.filled && parts.panel.contains(document.activeElement) && document.activeElement.tagName === "INPUT") return; // somebody types
    const held = parts.panel.contains(document.activeElement) ? document.activeElement.textContent : null;
    parts.filled = state;
    parts.panel.replaceChildren(...content());
    if (held) [...parts.panel.querySelectorAll("button")].find((one) => one.textContent === held)?.focus({ preventScroll: true });
  }

  const chips = (label, words, pressed, on) => make("div", { class: "run-chips", role: "group", "aria-label": label },
    ...words.map((word) => button(word, () => on(word), { "aria-pressed": String(pressed(word)) })));

  function other(label, on, name) {
    const id = `other-${name}`;
    const input = make("input", { id, type: "text", maxlength: "120", autocomplete: "off" });
    const keep = () => { const text = input.value.trim().replaceAll(";", ","); if (text) { input.value = ""; input.blur(); on(text); } };
    input.addEventListener("keydown", (event) => { if (event.key === "Enter") keep(); });
    return make("div", { class: "run-other" }, make("label", { for: id, text: label }), input, button("Keep", keep));
  }

  function choices(tile) { // what is needed now and then
    const parts = [];
    const dip = runSheet.inNow(tile);
    const turns = runSheet.timesIn(tile);
    const many = `${turns} of ${tile.cycles}`;
    if (tile.state === "spoiled") {
      parts.push(button("Not spoiled: take it back", () => { const { record } = fresh(tile); if (!record) { say("It is not saved yet. Try again in a moment."); return; } send({ kind: "undo", cells: { record: `${record}` }, undone: { kind: "made", cells: { tile: tile.code }, before: null }, hidden: true }, `${tile.code} counts again`); close(); }));
    } else {
      const there = ((tile.made ? tile.made.note : notes[tile.code]) || "").split("; ");
      parts.push(make("h4", { text: "Note" }), chips(`Note on ${tile.code}`, MISHAPS, (word) => there.includes(word), (word) => note(tile, word)));
      parts.push(other("Other note", (text) => note(tile, text), `note-${tile.code}`));
      const often = [];
      if (dip && turns < tile.cycles) often.push(button(`Out for good: made after ${many}`, () => { out(tile, "yes"); close(); }));
      if (dip && turns >= tile.cycles) often.push(button("Out, and once more after", () => { out(tile, "no"); close(); }));
      if (tile.state === "between") often.push(button(`Enough: made after ${many}`, () => { send({ kind: "stop", cells: { tile: tile.code, cycle: `${turns}`, last: "yes" } }, `${tile.code} is made after ${many}`); close(); }));
      if (tile.state === "made" && tile.dips.length) often.push(button("Goes in once more", () => { onceMore(tile); show(); }));
      if (often.length) parts.push(make("h4", { text: "How often" }), make("div", { class: "run-chips" }, ...often));
      if (!dip) parts.push(...really(tile));
      parts.push(...spoiling(tile));
    }
    if (tile.by) parts.push(make("p", { class: "quiet", text: `Entered by ${tile.by}` }));
    parts.push(make("p", {}, make("a", { href: `/tile/${encodeURIComponent(tile.code)}`, text: `All about ${tile.code}` })));
    return parts;
  }

  function really(tile) {
    if (!tile.settings.length) return [];
    const inputs = tile.settings.map((one) => {
      const input = make("input", { id: `really-${tile.code}-${one.name}`, type: "text", maxlength: "40", autocomplete: "off", placeholder: one.text });
      input.value = tile.made ? tile.made[`actual_${one.name}`] || "" : "";
      return [one, input, make("label", { for: input.id, text: one.label })];
    });
    const keep = () => {
      tile = fresh(tile);
      const cells = {};
      for (const [one, input] of inputs) {
        const before = tile.made ? tile.made[`actual_${one.name}`] || "" : "";
        if (input.value.trim() !== before) cells[`actual_${one.name}`] = input.value.trim();
      }
      if (tile.made && !Object.keys(cells).length) { say("Nothing was changed."); return; }
      close();
      enterMade(tile, cells, `${tile.code} is made${Object.values(cells).some(Boolean) ? `: ${Object.values(cells).filter(Boolean).join(", ")}` : ""}`);
    };
    return [
      make("h4", { text: "Really done, where it differs" }),
      make("div", { class: "run-really" }, ...inputs.map(([, input, label]) => make("div", {}, label, input))),
      button(tile.made ? "Keep" : "Made, without the timer", keep),
    ];
  }

  function spoiling(tile) {
    const why = new Set();
    const reasons = make("div", { class: "run-chips", role: "group", "aria-label": `Why ${tile.code} is spoiled` }, ...MISHAPS.map((word) => {
      const chip = button(word, () => {
        if (why.has(word)) why.delete(word); else why.add(word);
        chip.setAttribute("aria-pressed", String(why.has(word)));
      }, { "aria-pressed": "false" });
      return chip;
    }));
    const told = () => [...why].join(", ");
    return [make("details", { class: "run-spoiling" }, make("summary", { text: `${tile.code} is spoiled` }), make("p", { text: "Why?" }), reasons,
      make("div", { class: "run-chips" }, button("Spoiled, with a stand-in", () => spoil(tile, told(), true), { class: "run-grave" }), button("Spoiled, no stand-in", () => spoil(tile, told(), false), { class: "run-grave" })))];
  }

  function head(batch, parts) {
    const left = batch.use_by ? (Date.parse(batch.use_by) - nowMs()) / 1000 : null;
    const says = [];
    if (batch.discarded_at) says.push(`✗ Out of use since ${time(batch.discarded_at)}`);
    else if (clouded(batch)) says.push("⚠ Clouded: spent");
    if (batch.made_at) says.push(`Made ${new Date(batch.made_at).toDateString() === new Date(nowMs()).toDateString() ? time(batch.made_at) : batch.made_at.slice(0, 16).replace("T", " ")}`);
    else says.push("○ Not yet entered as made");
    if (left !== null && batch.made_at && !batch.discarded_at) says.push(left > 0 ? `use by ${time(batch.use_by)}` : `⚠ past its life since ${time(batch.use_by)}`);
    if (batch.note) says.push(`note: ${batch.note}`);
    if (batch.waiting) says.push("not yet saved");
    if (troubles.has(batch.code)) says.push(troubles.get(batch.code));
    set(parts.says, says.join(" · "));
    const does = [];
    if (!batch.made_at) does.push(["Made now", () => log(batch, { made_at: "now" }, `${batch.code} is made up`), "run-primary"]);
    else if (!batch.discarded_at) {
      if (sheet.spent && !clouded(batch)) does.push(["Clouded", () => log(batch, { note: runSheet.noted(batch.note, `clouded at ${time(nowMs())}`) }, `${batch.code} has clouded`), ""]);
      does.push(["Out of use", () => log(batch, { discarded_at: "now" }, `${batch.code} is out of use`), ""]);
    }
    does.push(["Note", () => toggle(`batch ${batch.code}`), ""]);
    const key = does.map(([text]) => text).join();
    if (parts.key !== key) {
      parts.key = key;
      const by = (text) => () => { const it = seen.batches.find((one) => one.code === batch.code); doesOf(it, text); };
      parts.does.replaceChildren(...does.map(([text, , style]) => button(text, by(text), { class: style || undefined, "aria-label": `${batch.code}: ${text}` })));
    }
    parts.actions = Object.fromEntries(does);
    panel(`batch ${batch.code}`, parts, `${batch.note}`, () => {
      const there = (batch.note || "").split("; ");
      const add = (word) => { const it = seen.batches.find((one) => one.code === batch.code); log(it, { note: runSheet.noted(it.note, word) }, `${batch.code}: ${word}`); };
      return [chips(`Note on ${batch.code}`, BATCH_NOTES, (word) => there.includes(word), add), other("Other note", add, `note-${batch.code}`)];
    });
  }

  function doesOf(batch, text) {
    runAlarm.wake();
    rows.get(`batch ${batch.code}`).actions[text]?.();
  }

  // --- the clock -----------------------------------------------------------------------------------------------------------

  const timers = new Map(); // by tile and cycle
  let movedAt = -MOVED;

  function tick() {
    const inside = runSheet.running(seen, nowMs());
    const running = inside.filter((one) => one.left !== null && one.left < SHORTLY);
    const high = $("inside").offsetHeight;
    const order = [...$("timers").children];
    $("inside").hidden = !running.length;
    const there = new Set(running.map(({ tile, dip }) => `${tile.code} ${dip.cycle}`));
    for (const [key, parts] of timers) {
      if (there.has(key)) continue;
      const held = parts.item.contains(document.activeElement);
      parts.item.remove();
      timers.delete(key);
      if (held) handOn(key.split(" ")[0]);
    }
    running.forEach(({ tile, dip, left }, place) => {
      const key = `${tile.code} ${dip.cycle}`;
      if (!timers.has(key)) timers.set(key, drawTimer(tile));
      const parts = timers.get(key);
      const over = left <= 0;
      set(parts.code, tile.code);
      set(parts.left, over ? `+${runSheet.clock(left)}` : runSheet.clock(Math.ceil(left)));
      const unit = Math.abs(left) < 59.5 ? "s " : "";
      const turn = tile.cycles > 1 ? `, ${dip.cycle} of ${tile.cycles}` : "";
      set(parts.says, `${unit}${over ? "over" : "left"}${turn}`);
      parts.item.classList.toggle("run-over", over);
      parts.item.classList.toggle("run-soon", !over && left <= 3);
      if ($("timers").children[place] !== parts.item && !parts.item.contains(document.activeElement)) $("timers").insertBefore(parts.item, $("timers").children[place] || null);
    });
    const up = runAlarm.heed(inside);
    if (up.length) $("alarm").textContent = `${up.join(", ")}: time is up`;
    $("sound").hidden = !running.length || runAlarm.ready() || !runAlarm.able();
    const grown = $("inside").offsetHeight - high;
    if (grown) window.scrollBy({ top: grown, behavior: "instant" }); // what is under the finger stays there
    if (order.some((item, place) => $("timers").children[place] !== item)) movedAt = performance.now();
  }

  function handOn(code) { // the button in use is gone: the keyboard goes on at its tile
    const parts = rows.get(code);
    if (parts) (parts.main.hidden ? parts.more : parts.main).focus({ preventScroll: true });
  }

  function drawTimer(tile) {
    const parts = { code: make("strong", { class: "run-timer-code" }), left: make("span", { class: "run-timer-left", role: "timer" }), says: make("span", { class: "run-timer-says" }) };
    parts.item = make("li", { class: "run-timer" }, parts.code, parts.left, parts.says,
      button("Out", () => { if (performance.now() - movedAt > MOVED) { const { batch, tile: it } = now(tile.code); if (it.state === "in") main(batch, it); } }, { class: "run-main", "aria-label": `Take ${tile.code} out` }));
    return parts;
  }

  $("undo").addEventListener("click", undo);
  $("sound").addEventListener("click", () => runAlarm.wake().then(() => { runAlarm.ring(false); tick(); }));
  document.addEventListener("pointerdown", () => runAlarm.wake(), { once: true });
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") { tick(); look(); } });
  window.addEventListener("online", look);
  setInterval(tick, 200);
  setInterval(() => { if (document.visibilityState === "visible") look(); }, EVERY);

  Promise.resolve(bench.waiting ? bench.waiting() : []).then((waiting) => {
    const known = new Set(mine.map((one) => one.id));
    const before = waiting.filter((one) => one.study === study && !known.has(one.id));
    mine = [...before.map((one) => ({ ...one, settled: false })), ...mine];
    show();
  });
  show();
})();
