// The rub page: cloth after cloth. A grade is kept as soon as the grade and the answer about bare metal are both there.
"use strict";

(() => {
  const data = bench.data();
  const tiles = data.tiles.map((one) => ({ ...one, waiting: "" })); // waiting: id of the entry under way
  const byCode = new Map(tiles.map((one) => [one.code, one]));
  const $ = (id) => document.getElementById(id);
  const all = (selector) => [...document.querySelectorAll(selector)];
  const written = (grade) => (grade % 1 ? `${Math.floor(grade)}-${Math.ceil(grade)}` : `${grade}`);
  const DRAFTS = `rub ${data.study} ${data.condition} ${data.scorer}`; // what was seen of a tile not yet graded
  const TOO_SOON = 400; // ms: a second tap so soon after the tiles changed was meant for the tile before

  let now = null; // the tile on the card
  let metal = ""; // "never", "at", "unwatched"
  let grade = null;
  let touched = false; // whether the answer about metal was given anew for a tile already graded
  let unwatched = false; // carries over to the next tile; "never" would be an answer that nobody gave
  let changedAt = 0;
  const done = []; // entries of this visit, to undo, last one last: {id, code, before}
  const sent = new Map(); // by id of entry: its tile, and what stood before

  // --- what was begun and not yet graded -----------------------------------------------------------------------------

  const { read, write } = bench.device;
  const drafts = read(DRAFTS, {});
  const draft = (code, what) => {
    if (what) drafts[code] = what; else delete drafts[code];
    write(DRAFTS, drafts);
  };

  // --- the card ------------------------------------------------------------------------------------------------------

  const metalOf = (tile) => {
    if (tile.grade === null) return drafts[tile.code] || { metal: unwatched ? "unwatched" : "", count: "" };
    if (tile.broke_through) return { metal: "at", count: `${tile.strokes ?? ""}` };
    if (tile.broke_through === false) return { metal: "never", count: `${tile.strokes ?? ""}` };
    return { metal: "unwatched", count: "" };
  };

  function open(tile, focus) {
    now = tile;
    grade = tile ? tile.grade : null;
    touched = false;
    changedAt = performance.now();
    $("card").hidden = !tile;
    $("all-done").hidden = Boolean(tile);
    if (tile) {
      const kept = metalOf(tile);
      metal = kept.metal;
      $("count").value = kept.count;
      $("tile").textContent = `Tile ${tile.code}`;
      $("box").textContent = `Cloth box ${tile.number}`;
    }
    show();
    const aim = tile ? $("tile") : $("all-done");
    if (focus) aim.focus({ preventScroll: true });
    if (focus && tile) $("card").scrollIntoView({ block: "nearest" });
  }

  const left = () => tiles.filter((one) => one.grade === null);

  function next() {
    const from = now ? tiles.indexOf(now) + 1 : 0;
    return [...tiles.slice(from), ...tiles.slice(0, from)].find((one) => one.grade === null && one !== now) || null;
  }

  const needsCount = () => metal === "at" || (metal === "never" && data.strokes === null);

  function count() { // whole number, or null where there is none that can be
    const text = $("count").value.trim();
    return /^[0-9]{1,5}$/.test(text) && Number(text) > 0 ? Number(text) : null;
  }

  const complete = () => now && grade !== null && metal !== "" && (!needsCount() || count() !== null);

  function show() {
    if (now) {
      for (const one of all("[data-grade]")) one.setAttribute("aria-pressed", String(Number(one.dataset.grade) === grade));
      for (const one of all("[data-metal]")) one.setAttribute("aria-pressed", String(one.dataset.metal === metal));
      document.querySelector('[data-metal="at"]').setAttribute("aria-expanded", String(needsCount()));
      $("count-row").hidden = !needsCount();
      $("count-label").textContent = metal === "never" ? "Strokes" : "Stroke";
      const wrong = needsCount() && $("count").value.trim() !== "" && count() === null;
      $("count-fault").hidden = !wrong;
      $("count").setAttribute("aria-invalid", String(wrong));
      $("count-fault").textContent = wrong ? "Write a whole number of strokes, 1 or more." : "";
      const ask = grade !== null && now.grade === null && metal === "" ? `Grade ${written(grade)}. Did bare metal show?`
        : grade !== null && needsCount() && count() === null ? "At which stroke?" : "";
      if ($("ask").textContent !== ask) $("ask").textContent = ask;
      $("keep").hidden = !(complete() && needsCount() && (now.grade === null || touched));
      $("keep").textContent = complete() ? `Keep ${written(grade)}, ${toldMetal(metal, count())}` : "";
      $("later").textContent = now.grade === null ? "Later: next tile" : left().length ? "Leave it: next tile" : "Leave it";
      $("later").hidden = now.grade === null && !next();
    }
    const graded = tiles.length - left().length;
    $("progress").max = tiles.length;
    $("progress").value = graded;
    $("progress-text").textContent = `${graded} of ${tiles.length} graded`;
    $("undo").hidden = !done.length;
    $("undo").textContent = done.length ? `Undo ${done[done.length - 1].code}` : "Undo";
    list();
  }

  const toldMetal = (which, strokes) =>
    ({ never: "no bare metal", at: `bare metal at ${strokes}`, unwatched: "metal not watched" })[which] || "";

  function list() {
    if (!$("list").children.length) {
      for (const tile of tiles) {
        const item = document.createElement("li");
        const button = document.createElement("button");
        button.type = "button";
        button.dataset.tile = tile.code;
        button.addEventListener("click", () => open(tile, true));
        for (const name of ["rub-code", "rub-own", "rub-own-metal"]) {
          const part = document.createElement("span");
          part.className = name;
          button.append(part);
        }
        item.append(button);
        $("list").append(item);
      }
    }
    tiles.forEach((tile, place) => {
      const button = $("list").children[place].firstChild;
      const [code, own, ofMetal] = button.children;
      const kept = metalOf(tile);
      code.textContent = tile.code;
      own.textContent = tile.grade === null ? "to grade" : written(tile.grade);
      ofMetal.textContent = tile.waiting ? "not yet saved" : tile.grade === null && !drafts[tile.code] ? "" : toldMetal(kept.metal, kept.count);
      button.classList.toggle("graded", tile.grade !== null);
      if (tile === now) button.setAttribute("aria-current", "true"); else button.removeAttribute("aria-current");
    });
  }

  const say = (text) => { $("said").textContent = text; };

  // --- keeping and taking back -----------------------------------------------------------------------------------------

  const state = (tile) => ({ grade: tile.grade, strokes: tile.strokes, broke_through: tile.broke_through });

  function keep() {
    const tile = now;
    const before = state(tile);
    const cells = { tile: tile.code, scorer: data.scorer, condition: data.condition, grade: `${grade}` };
    const first = tile.grade === null;
    if (first || touched) {
      tile.strokes = metal === "unwatched" ? null : needsCount() ? count() : data.strokes;
      tile.broke_through = metal === "unwatched" ? null : metal === "at";
      cells.strokes = tile.strokes === null ? "" : `${tile.strokes}`;
      cells.broke_through = tile.broke_through === null ? "" : tile.broke_through ? "yes" : "no";
    }
    tile.grade = grade;
    unwatched = metal === "unwatched";
    draft(tile.code, null);
    const id = send(tile, { kind: "rub", cells }, before);
    done.push({ id, code: tile.code, before });
    const following = next();
    open(following, false);
    say(`${tile.code}: ${written(tile.grade)}.${following ? ` Next: ${following.code}.` : " All done."}`);
    if (!following) $("all-done").focus();
  }

  function send(tile, entry, before) {
    const { id } = bench.enter({
      study: data.study, saw: tile.record, after: tile.waiting || undefined, at: bench.now().toISOString(), ...entry,
    });
    sent.set(id, { tile, before });
    tile.waiting = id;
    return id;
  }

  function undo() {
    const last = done.pop();
    if (!last) return;
    const tile = byCode.get(last.code);
    if (last.before.grade === null) draft(tile.code, metalOf(tile)); // what was seen of the metal stays so
    const before = state(tile);
    Object.assign(tile, last.before);
    send(tile, { kind: "undo", cells: { entry: last.id } }, before);
    open(tile, true);
    say(tile.grade === null ? `${tile.code} is to grade again.` : `${tile.code}: back to ${written(tile.grade)}.`);
  }

  const number = (text) => (text === undefined || text === null || text === "" ? null : Number(text));

  function standing(tile, cells) { // what the book says of a tile
    tile.grade = number(cells.grade);
    tile.strokes = number(cells.strokes);
    tile.broke_through = { yes: true, no: false }[cells.broke_through] ?? null;
  }

  bench.on("saved", (entry, answer) => {
    const taken = sent.get(entry.id)?.tile || (entry.kind === "rub" ? byCode.get(entry.cells.tile) : null);
    if (!taken || entry.study !== data.study || (entry.cells.condition ?? data.condition) !== data.condition) return;
    if (entry.kind === "rub" && (entry.cells.scorer ?? data.scorer) !== data.scorer) return;
    const turnedAway = answer.status === "other" || answer.status === "refused";
    if (turnedAway) {
      for (let place = done.length - 1; place >= 0; place--) if (done[place].id === entry.id) done.splice(place, 1);
    } else taken.record = answer.record ?? 0;
    if (taken.waiting && taken.waiting !== entry.id) return; // another entry of this tile is still under way
    taken.waiting = "";
    const was = taken.grade;
    if (turnedAway) { // what stands counts; where that is not told, what stood before
      if (answer.record !== null) taken.record = answer.record;
      if (answer.now) standing(taken, answer.now); else Object.assign(taken, sent.get(entry.id)?.before);
    } else if (entry.kind === "rub") standing(taken, { ...cellsOf(taken), ...entry.cells, ...answer.now });
    else standing(taken, answer.now ?? {});
    if (taken !== now) show();
    else if (turnedAway) open(now, false);
    else if (was === null && now.grade !== null) open(next(), false); // sent before the page was loaded
    else show();
  });

  const cellsOf = (tile) => ({
    grade: tile.grade, strokes: tile.strokes,
    broke_through: tile.broke_through === null ? "" : tile.broke_through ? "yes" : "no",
  });

  // --- hands -----------------------------------------------------------------------------------------------------------

  const tooSoon = () => performance.now() - changedAt < TOO_SOON;

  function giveGrade(value) {
    if (!now || tooSoon()) return;
    grade = value;
    if (complete()) keep(); else { show(); if (needsCount()) $("count").focus(); }
  }

  function giveMetal(which) {
    if (!now || tooSoon()) return;
    metal = which;
    touched = true;
    if (needsCount() && which === "at" && data.strokes === Number($("count").value)) $("count").value = "";
    remember();
    if (complete() && !needsCount()) keep(); else { show(); if (needsCount()) $("count").focus(); }
  }

  function remember() {
    if (now && now.grade === null) draft(now.code, { metal, count: $("count").value });
  }

  function step(by) {
    const to = (count() ?? 0) + by;
    $("count").value = to > 0 ? `${to}` : "";
    touched = true;
    remember();
    show();
  }

  for (const one of all("[data-grade]")) one.addEventListener("click", () => giveGrade(Number(one.dataset.grade)));
  for (const one of all("[data-metal]")) one.addEventListener("click", () => giveMetal(one.dataset.metal));
  $("fewer").addEventListener("click", () => step(-1));
  $("more").addEventListener("click", () => step(1));
  $("count").addEventListener("input", () => { touched = true; remember(); show(); });
  $("count").addEventListener("keydown", (event) => { if (event.key === "Enter" && complete()) keep(); });
  $("keep").addEventListener("click", () => { if (complete()) keep(); });
  $("later").addEventListener("click", () => open(now.grade === null ? next() || now : next(), true));
  $("undo").addEventListener("click", undo);

  const KEYS = "rub keys";
  $("keys").checked = read(KEYS, true);
  $("keys").addEventListener("change", () => write(KEYS, $("keys").checked));
  document.addEventListener("keydown", (event) => {
    if (!$("keys").checked || event.repeat || event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.target.closest("input, textarea, select, dialog, [role=alert]")) return;
    const button = document.querySelector(`[data-key="${CSS.escape(event.key)}"]`);
    if (button) giveGrade(Number(button.dataset.grade));
    else if (event.key.toLowerCase() === "n") giveMetal("never");
    else if (event.key.toLowerCase() === "u") undo();
    else return;
    event.preventDefault();
  });

  function overlay(waiting) { // what was entered before the page was loaded and is still on its way
    for (const entry of waiting.filter((one) => one.study === data.study)) {
      const earlier = entry.kind === "undo" ? sent.get(entry.cells.entry) : null;
      const ours = entry.kind === "rub" && entry.cells.condition === data.condition && entry.cells.scorer === data.scorer;
      const tile = earlier ? earlier.tile : ours ? byCode.get(entry.cells.tile) : null;
      if (!tile) continue;
      sent.set(entry.id, { tile, before: state(tile) });
      if (earlier) Object.assign(tile, earlier.before); else standing(tile, { ...cellsOf(tile), ...entry.cells });
      tile.waiting = entry.id;
    }
  }

  Promise.resolve(bench.waiting ? bench.waiting() : []).then((waiting) => {
    overlay(waiting);
    open(left()[0] || null, false);
    changedAt = -TOO_SOON;
  });
})();
