// The run sheet as data: what a tile asks for next, how long is left, and how the sheet looks with what is still on its way.
// No page, no clock: times come in as milliseconds.
"use strict";

const runSheet = (() => {
  const inNow = (tile) => tile.dips.find((one) => one.stopped === null) || null;
  const timesIn = (tile) => Math.max(0, ...tile.dips.map((one) => one.cycle));

  // What the one main button of a tile does: {do: "start" | "stop" | "made", cycle}; null where nothing is asked.
  function next(tile) {
    if (tile.state === "made" || tile.state === "spoiled") return null;
    const dip = inNow(tile);
    if (dip) return { do: "stop", cycle: dip.cycle };
    if (tile.dip_seconds === null) return { do: "made", cycle: 0 };
    return { do: "start", cycle: timesIn(tile) + 1 };
  }

  const left = (tile, dip, now) => tile.dip_seconds - (now - Date.parse(dip.started)) / 1000; // below 0: too long in

  // Tiles that are in, the one due first on top.
  function running(sheet, now) {
    return sheet.batches
      .flatMap((batch) => batch.tiles.map((tile) => ({ batch, tile, dip: inNow(tile) })))
      .filter((one) => one.dip && one.tile.state === "in")
      .map((one) => ({ ...one, left: one.tile.dip_seconds === null ? null : left(one.tile, one.dip, now) }))
      .sort((one, other) => (one.left ?? Infinity) - (other.left ?? Infinity));
  }

  // Seconds as they are read from a distance: 9, 45, 1:30, 2 h 05.
  function clock(seconds) {
    const whole = Math.abs(seconds) < 0.5 ? 0 : Math.round(Math.abs(seconds));
    if (whole < 60) return `${whole}`;
    if (whole < 3600) return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
    return `${Math.floor(whole / 3600)} h ${String(Math.floor((whole % 3600) / 60)).padStart(2, "0")}`;
  }

  const inSeconds = (seconds) => (Math.round(seconds) < 60 ? `${clock(seconds)} s` : clock(seconds));

  function stateOf(tile) { // from what is known of it
    if (tile.made) return tile.made.spoiled === "yes" ? "spoiled" : "made";
    if (inNow(tile)) return "in";
    return tile.dips.length ? "between" : "to make";
  }

  const find = (sheet, code) => sheet.batches.flatMap((one) => one.tiles).find((one) => one.code === code) || null;

  const DOES = {
    start(sheet, { cells, at }) {
      const tile = find(sheet, cells.tile);
      const cycle = Number(cells.cycle);
      if (tile && !tile.made && !tile.dips.some((one) => one.cycle === cycle)) {
        tile.dips.push({ cycle, started: at, stopped: null, by: "" });
      }
      return tile;
    },
    stop(sheet, { cells, at }) {
      const tile = find(sheet, cells.tile);
      const dip = tile && tile.dips.find((one) => one.cycle === Number(cells.cycle));
      if (!dip) return tile;
      dip.stopped ??= at;
      const last = cells.last ? cells.last === "yes" : dip.cycle >= tile.cycles;
      if (last) tile.made ??= { note: cells.note || "" };
      return tile;
    },
    made(sheet, { cells }) {
      const tile = find(sheet, cells.tile);
      if (tile) tile.made = { ...tile.made, ...cells };
      return tile;
    },
    batches(sheet, { cells, at }) {
      const batch = sheet.batches.find((one) => one.code === cells.batch);
      if (!batch) return null;
      for (const name of ["made_at", "discarded_at"]) {
        if (name in cells) batch[name] = cells[name] === "now" ? at : cells[name] || null;
      }
      if ("note" in cells) batch.note = cells.note;
      return batch;
    },
  };

  function takeBack(sheet, undone) { // what had reached the book already
    const { kind, cells } = undone;
    if (kind === "batches") {
      const batch = sheet.batches.find((one) => one.code === cells.batch);
      if (batch) Object.assign(batch, undone.before);
      return batch;
    }
    const tile = find(sheet, cells.tile);
    if (!tile) return null;
    if (kind === "start") tile.dips = tile.dips.filter((one) => one.cycle !== Number(cells.cycle));
    if (kind === "stop") {
      tile.made = null;
      for (const one of tile.dips) if (one.cycle === Number(cells.cycle)) one.stopped = null;
    }
    if (kind === "made") tile.made = undone.before || null;
    return tile;
  }

  // The sheet with entries that the book does not have yet, in the order they were entered; what they touch has `waiting`.
  function overlay(sheet, entries) {
    const seen = structuredClone(sheet);
    const undone = new Set(entries.filter((one) => one.kind === "undo").map((one) => one.cells.entry));
    const here = new Set(entries.map((one) => one.id));
    for (const entry of entries) {
      let what = null;
      if (entry.kind === "undo") {
        if (!here.has(entry.cells.entry) && entry.undone) what = takeBack(seen, entry.undone);
      } else if (!undone.has(entry.id) && DOES[entry.kind]) {
        what = DOES[entry.kind](seen, entry);
      }
      if (!what) continue;
      what.waiting = Boolean(what.waiting) || !entry.settled;
      if (what.dips) what.state = stateOf(what);
    }
    return seen;
  }

  // What was really done, where the clock tells: seconds of each time in.
  const times = (tile) => tile.dips.filter((one) => one.stopped).map((one) => (Date.parse(one.stopped) - Date.parse(one.started)) / 1000);

  const noted = (note, word) => (note ? (note.split("; ").includes(word) ? note : `${note}; ${word}`) : word);

  return { next, left, running, clock, inSeconds, overlay, times, noted, inNow, timesIn, find };
})();
