// Shows what is computed beside the page as soon as it is done.
"use strict";
(() => {
  const EVERY = 500;        // ms
  const waiting = document.querySelector("[data-wait]");
  if (!waiting) return;

  const look = async () => {
    try {
      const answer = await fetch(waiting.dataset.wait, { headers: { accept: "application/json" } });
      if (answer.ok && !(await answer.json()).running) {
        location.reload();
        return;
      }
    } catch {
      // the station is away for a moment: ask again
    }
    setTimeout(look, EVERY);
  };
  setTimeout(look, EVERY);
})();
