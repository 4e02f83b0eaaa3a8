// Asks the station anew with each move of a limit, one question at a time, and shows the answer beside it.
"use strict";
(() => {
  const form = document.querySelector(".moving");
  const answer = document.getElementById("answer");
  const refused = document.getElementById("refused");
  if (!form || !answer) return;
  let asking = false;
  let again = false;

  const show = (trouble) => {
    refused.hidden = !trouble;
    refused.textContent = trouble;
    answer.classList.toggle("old", Boolean(trouble));
  };

  const ask = async () => {
    if (asking) {
      again = true;
      return;
    }
    asking = true;
    do {
      again = false;
      const query = new URLSearchParams(new FormData(form));
      try {
        const said = await fetch(`${form.dataset.answer}?${query}`, { headers: { accept: "application/json" } });
        const found = await said.json();
        if (said.ok) {
          answer.innerHTML = found.answer;
          history.replaceState(null, "", found.address);
        }
        show(said.ok ? "" : `${found.what} (${found.where}): ${found.expected} / ${found.got}. ${found.remedy}`);
      } catch {
        show(form.dataset.away);
      }
    } while (again);
    asking = false;
    document.body.dataset.answered = String(Number(document.body.dataset.answered || 0) + 1);
  };

  for (const range of form.querySelectorAll("input[type=range]")) {
    const typed = form.elements[range.dataset.of];
    const moved = (value) => {
      form.elements.moved.value = range.dataset.of;
      if (value === typed) range.value = typed.value.replace(",", ".");
      else typed.value = String(Number(range.value));
      ask();
    };
    range.hidden = false;
    range.addEventListener("input", () => moved(range));
    typed.addEventListener("input", () => moved(typed));
  }
})();
