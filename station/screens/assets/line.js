// The operator's page: takes what a scanner types wherever the focus is, and follows the line.
"use strict";
(() => {
  const QUIET = 2000;       // ms without a beat after which no verdict may be believed
  const PAUSE = 100;        // ms between keys of one code; hands are slower
  const form = document.getElementById("scan");
  let read = "", last = 0;

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || event.target.closest("input, textarea, select")) return;
    if (event.timeStamp - last > PAUSE) read = "";      // when it was pressed, however busy the page is
    last = event.timeStamp;
    const within = read.length > 0;     // a code, so no key of it may press a button
    if (event.key === "Enter" && read.length > 2) {
      form.elements.text.value = read;
      read = "";
      form.submit();
    } else if (event.key.length === 1) {
      read += event.key;
    }
    if (within) {
      event.preventDefault();
      event.stopPropagation();
    }
  }, true);

  const line = document.getElementById("line");
  const volume = line ? Number(line.dataset.volume) : 0.5;
  document.getElementById("try-sound").addEventListener("click", () => sound.all(volume));
  if (!line) return;
  const cover = document.getElementById("no-link"), said = document.getElementById("said");
  let heard = performance.now(), source = null;

  function show(html) {
    if (html) line.innerHTML = html;
    const state = line.querySelector(".state"), key = state.dataset.key, hint = state.querySelector(".hint");
    const before = sessionStorage.getItem("key") || "";
    const mark = hint || key === "refused" ? state.textContent : key;   // refused again is news, too
    if (mark === sessionStorage.getItem("mark")) return;
    sessionStorage.setItem("mark", mark);
    sessionStorage.setItem("key", key);
    if (hint) {
      sound.enter("refused", before, volume);
      return;
    }
    said.textContent = `${state.querySelector("h1").textContent.trim()}. ${state.querySelector(".step").textContent}`;
    document.title = document.title.replace(/^.* – /, `${state.querySelector("h1").textContent.trim()} – `);
    sound.enter(key, before, volume);
  }

  // What is drawn anew between press and release gives no click; if the same stands there again, it was meant.
  let pressed = null;
  line.addEventListener("pointerdown", (event) => {
    pressed = event.button === 0 ? event.target.closest("a, form") : null;
  });
  line.addEventListener("pointerup", (event) => {
    const under = event.target.closest("a, form"), before = pressed;
    pressed = null;
    if (before && !before.isConnected && under && under.outerHTML === before.outerHTML) {
      (under.querySelector("button") || under).click();
    }
  });

  function follow() {
    heard = performance.now();
    source = new EventSource("/line/events");
    source.addEventListener("state", (event) => { heard = performance.now(); show(event.data); });
    source.addEventListener("beat", () => { heard = performance.now(); });
    source.addEventListener("over", () => { location.reload(); });
  }

  document.addEventListener("visibilitychange", () => {     // a browser has few streams to give
    if (document.hidden) {
      source.close();
    } else {
      follow();
    }
  });
  setInterval(() => {
    const lost = performance.now() - heard > QUIET;
    cover.hidden = !lost;
    line.hidden = lost;
    const left = line.querySelector("[data-left]");
    if (left) {
      left.dataset.left = Math.max(0, Number(left.dataset.left) - 0.25);
      left.textContent = Math.ceil(Number(left.dataset.left));
    }
  }, 250);
  show("");
  follow();
})();
