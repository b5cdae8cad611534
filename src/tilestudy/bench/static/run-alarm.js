// Sound, vibration, and a screen that stays on while something is in. A browser lets a page sound only after a first tap.
"use strict";

const runAlarm = (() => {
  let sound = null; // AudioContext
  let lock = null;
  let locking = false;
  const rung = new Map(); // what has rung, by tile and cycle: the last moment of it

  function wake() { // called in a tap
    const Context = window.AudioContext || window.webkitAudioContext;
    if (!Context) return Promise.resolve();
    sound ??= new Context();
    return sound.state !== "running" ? sound.resume().catch(() => {}) : Promise.resolve();
  }

  const ready = () => Boolean(sound && sound.state === "running");
  const able = () => Boolean(window.AudioContext || window.webkitAudioContext);

  function beep(pitch, from, seconds) {
    const tone = sound.createOscillator();
    const loud = sound.createGain();
    const begin = sound.currentTime + from;
    tone.type = "square"; // carries over running water
    tone.frequency.value = pitch;
    loud.gain.setValueAtTime(0, begin);
    loud.gain.linearRampToValueAtTime(0.4, begin + 0.01);
    loud.gain.setValueAtTime(0.4, begin + seconds - 0.02);
    loud.gain.linearRampToValueAtTime(0, begin + seconds);
    tone.connect(loud).connect(sound.destination);
    tone.start(begin);
    tone.stop(begin + seconds);
  }

  function ring(end) {
    if (ready()) {
      if (end) for (const from of [0, 0.3, 0.6]) beep(1050, from, 0.2); else beep(700, 0, 0.1);
    }
    if (navigator.vibrate) navigator.vibrate(end ? [300, 100, 300, 100, 300] : 60);
  }

  // One short tone 3 s before the end, three at the end, and again every 5 s for two minutes while the tile stays in.
  // Returns the tiles whose time has come up just now.
  function heed(running) {
    const up = [];
    const there = new Set();
    for (const { tile, dip, left } of running) {
      if (left === null) continue;
      const key = `${tile.code} ${dip.cycle}`;
      there.add(key);
      const moment = left > 3 ? -1 : left > 0 ? 0 : 1 + Math.min(24, Math.floor(-left / 5));
      const before = rung.get(key) ?? -1;
      if (moment <= before) continue;
      rung.set(key, moment);
      if (moment > 0 && before < 1) up.push(tile.code);
      if (moment < 24 && (moment > 0 || tile.dip_seconds > 5)) ring(moment > 0);
    }
    for (const key of rung.keys()) if (!there.has(key)) rung.delete(key);
    stayOn(running.some((one) => one.left !== null && Math.abs(one.left) < 900)); // not all night for a closed tub
    return up;
  }

  function stayOn(wanted) {
    if (!navigator.wakeLock || locking) return;
    if (wanted && !lock && document.visibilityState === "visible") {
      locking = true;
      navigator.wakeLock.request("screen").then((got) => {
        lock = got;
        got.addEventListener("release", () => { lock = null; });
      }, () => {}).finally(() => setTimeout(() => { locking = false; }, 10000)); // refused: not asked again at once
    } else if (!wanted && lock) {
      lock.release().catch(() => {});
      lock = null;
    }
  }

  return { wake, ready, able, heed, ring };
})();
