// The operator's page: takes what a scanner types wherever the focus is, and follows the line.
"use strict";
(() => {
  const QUIET = 2000;       // ms without a beat after which no verdict may be believed
  const PAUSE = 100;        // ms between keys of one code; hands are slower
  const form = document.getElementById("scan");
  let read = "", last = 0;

  document.addEventListener("keydown", (event) => {
    if (event.target instanceof HTMLInputElement && event.target.type !== "hidden") return;
    const now = performance.now();
    if (now - last > PAUSE) read = "";
    last = now;
    if (event.key === "Enter" && read.length > 2) {
      event.preventDefault();
      event.stopPropagation();
      form.elements.text.value = read;
      read = "";
      form.submit();
    } else if (event.key.length === 1) {
      read += event.key;
    }
  }, true);

  const line = document.getElementById("line");
  if (!line) return;
  const cover = document.getElementById("no-link");
  let heard = performance.now();
  const source = new EventSource("/line/events");
  source.addEventListener("state", (event) => { heard = performance.now(); line.innerHTML = event.data; });
  source.addEventListener("beat", () => { heard = performance.now(); });
  source.addEventListener("over", () => { location.reload(); });
  setInterval(() => {
    const lost = performance.now() - heard > QUIET;
    cover.hidden = !lost;
    line.hidden = lost;
  }, 250);
})();
