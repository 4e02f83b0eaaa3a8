// What is being said to the instruments, a second late at most.
"use strict";
(() => {
  const MOST = 2000;        // lines kept on the page
  const box = document.getElementById("said");
  if (!box) return;
  const SIGNS = { to: ">", from: "<", note: "#" };
  let known = 0, lines = [];

  const line = (said) => `${said.utc} ${said.role} ${SIGNS[said.direction]} ${said.text ?? ""}` +
    (said.bytes ? ` [${said.bytes} bytes, SHA-256 ${said.sha256.slice(0, 12)}…]` : "");

  const ask = async () => {
    if (!document.hidden) {
      const answer = await fetch(`/bench/said?since=${known}`);
      if (answer.ok) {
        const found = await answer.json();
        if (found.noted < known) lines = [];      // another run has begun
        known = found.noted;
        lines = lines.concat(found.lines.map(line)).slice(-MOST);
        const below = box.scrollTop + box.clientHeight >= box.scrollHeight - 20;
        box.textContent = lines.join("\n");
        if (below) box.scrollTop = box.scrollHeight;
      }
    }
    setTimeout(ask, 1000);
  };
  ask();
})();
