// The sounds of the operator's page: each event has a rhythm of its own, told apart with ear muffs on too, and what
// the screen shows says the same.
"use strict";
const sound = (() => {
  const RHYTHMS = {         // [from Hz, to Hz, s on, s pause after]
    accepted: [[880, 880, 0.1, 0]],
    refused: [[330, 330, 0.2, 0.12], [330, 330, 0.2, 0]],
    pass: [[660, 660, 0.14, 0.05], [990, 990, 0.24, 0]],
    fail: [[700, 300, 1.1, 0]],
    call: [[520, 520, 0.3, 0.1], [520, 520, 0.3, 0.1], [520, 520, 0.3, 0]],
  };
  const OF_STATE = { change: "accepted", guard: "accepted", wait: "accepted", start: "accepted", pass: "pass", "check-good": "pass",
    fail: "fail", refused: "refused", stopped: "refused", "no-result": "refused", "check-none": "refused",
    locked: "call", "check-bad": "call" };
  const AGAIN = 10000;      // ms between calls for a person
  let context = null, calling = 0;

  function play(rhythm, volume) {
    context = context || new AudioContext();
    context.resume();
    let at = context.currentTime + 0.02;
    for (const [from, to, on, pause] of RHYTHMS[rhythm]) {
      const tone = context.createOscillator(), loud = context.createGain();
      tone.type = "square";
      tone.frequency.setValueAtTime(from, at);
      tone.frequency.linearRampToValueAtTime(to, at + on);
      loud.gain.setValueAtTime(volume * 0.5, at);
      loud.gain.setTargetAtTime(0, at + on - 0.02, 0.01);
      tone.connect(loud).connect(context.destination);
      tone.start(at);
      tone.stop(at + on + 0.05);
      at += on + pause;
    }
  }

  function enter(key, before, volume) {
    clearInterval(calling);
    const rhythm = OF_STATE[key];
    if (!rhythm || (rhythm === "accepted" && OF_STATE[before] === "accepted")) return;
    play(rhythm, volume);
    if (rhythm === "call") calling = setInterval(() => play(rhythm, volume), AGAIN);
  }

  return { enter, all: (volume) => Object.keys(RHYTHMS).forEach((name, n) => setTimeout(() => play(name, volume), 1500 * n)) };
})();
