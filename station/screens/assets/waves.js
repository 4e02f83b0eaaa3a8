// Waveforms of a capture: drawn from windows that the server makes, so that a zoom shows real samples.
"use strict";
(() => {
  const COLOURS = { v_ab: "#0A4F95", v_bc: "#8C1410", v_ca: "#2B6B1E", h_a: "#0A4F95", h_b: "#8C1410", h_c: "#2B6B1E" };
  const DASHES = { v_bc: [9, 4], v_ca: [2.5, 3], h_b: [9, 4], h_c: [2.5, 3] };

  const parse = (buffer) => {
    const length = new DataView(buffer).getUint32(0, true);
    const head = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
    let at = 4 + length;
    const next = () => { const part = new Float32Array(buffer, at, head.columns); at += 4 * head.columns; return part; };
    const sides = head.channels.map((name) => {
      const low = next();
      return { name, low, high: head.per > 1 ? next() : low };
    });
    return { ...head, sides, codes: new Int8Array(buffer, at, head.columns) };
  };

  const series = (sides, per) => sides.flatMap(({ name }) => {
    const one = { label: name, stroke: COLOURS[name], width: 1.5, dash: per > 1 ? [] : DASHES[name] };
    return per > 1 ? [{ ...one, label: name + " ↓" }, { ...one, label: name + " ↑" }] : [one];
  });

  for (const place of document.querySelectorAll(".waves")) {
    const said = place.querySelector(".of");
    const drawn = [];
    let whole = null;

    const draw = (name, box, window, unit) => {
      const sides = window.sides.filter((side) => side.name.startsWith(name));
      if (!sides.length) return;
      const times = Float64Array.from({ length: window.columns }, (_, k) => 1000 * (window.start + k * window.step));
      const data = [times, ...sides.flatMap((side) => window.per > 1 ? [side.low, side.high] : [side.low])];
      const bands = window.per > 1 ? sides.map((side, k) => ({ series: [2 * k + 2, 2 * k + 1], fill: COLOURS[side.name] + "55" })) : [];
      const options = {
        width: box.clientWidth, height: 260, series: [{ label: "t / ms" }, ...series(sides, window.per)], bands,
        scales: { x: { time: false } }, axes: [{ label: "t / ms" }, { label: unit, size: 60 }],
        cursor: { sync: { key: place.dataset.wave }, drag: { x: true, y: false, setScale: false } },
        hooks: { setSelect: [(plot) => {
          const { left, width } = plot.select;
          if (width > 3) show(plot.posToVal(left, "x"), plot.posToVal(left + width, "x"));
        }] },
      };
      box.replaceChildren();
      drawn.push(new uPlot(options, data, box));
    };

    const show = async (from, to) => {
      const interval = whole ? whole.step / whole.per : 0;
      const first = whole ? Math.round(from / 1000 / interval) : 0;
      const last = whole ? Math.round(to / 1000 / interval) : 1e9;
      const columns = Math.max(100, place.clientWidth - 80);
      const answer = await fetch(`${place.dataset.wave}?first=${first}&last=${last}&columns=${columns}`);
      if (!answer.ok) { said.textContent = answer.statusText; return; }
      const window = parse(await answer.arrayBuffer());
      whole ??= window;
      drawn.splice(0).forEach((plot) => plot.destroy());
      draw("v", place.querySelector(".volts"), window, "V");
      draw("h", place.querySelector(".halls"), window, "V");
      said.textContent = window.per > 1 ? place.dataset.envelope.replace("#", window.per) : place.dataset.samples;
      place.dataset.drawn = window.per;
    };

    place.querySelector(".whole").addEventListener("click", () => show(0, 1e9));
    show(0, 1e9);
  }
})();
