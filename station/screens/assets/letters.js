// Tells when this computer has no letters for the language of the page: they would be drawn as empty boxes.
"use strict";
(() => {
  const UNKNOWN = "\u0378";     // no character (from memory), so that any font draws what it has for none
  const SIDE = 32;              // px
  const told = document.getElementById("no-letters");
  const canvas = document.createElement("canvas"), pen = canvas.getContext("2d", { willReadFrequently: true });
  canvas.width = canvas.height = SIDE;
  pen.font = `20px ${getComputedStyle(document.body).fontFamily}`;

  function drawn(letter) {
    pen.clearRect(0, 0, SIDE, SIDE);
    pen.fillText(letter, 4, 24);
    return pen.getImageData(0, 0, SIDE, SIDE).data.join();
  }

  const box = drawn(UNKNOWN);
  const lacking = [...told.dataset.letters].filter((letter) => drawn(letter) === box);
  if (lacking.length === 0) return;
  const number = (letter) => letter.codePointAt(0).toString(16).toUpperCase().padStart(4, "0");
  told.querySelector("span").textContent = lacking.map((letter) => `U+${number(letter)}`).join(" ");
  told.hidden = false;
})();
