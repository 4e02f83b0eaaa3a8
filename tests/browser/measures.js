// What a page shows, measured as it is drawn: contrasts of text and borders, heights of capitals, targets and gaps.
() => {
  const seen = (one) => {
    const box = one.getBoundingClientRect(), style = getComputedStyle(one);
    return box.width > 1 && box.height > 1 && box.right > 0 && style.visibility === "visible" && !one.disabled;
  };
  const said = (one) => `${one.tagName.toLowerCase()}.${one.getAttribute("class") ?? one.name ?? ""} ` +
    one.textContent.trim().slice(0, 40);

  // Relative luminance and contrast ratio as WCAG 2.2 defines them, from memory.
  const parts = (colour) => (colour.match(/[\d.]+/g) ?? []).map(Number);
  const luminance = ([red, green, blue]) => {
    const [r, g, b] = [red, green, blue].map((part) => part / 255)
      .map((part) => part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const contrast = (one, other) => {
    const [low, high] = [luminance(one), luminance(other)].sort((a, b) => a - b);
    return (high + 0.05) / (low + 0.05);
  };
  // All colours that lie behind an element: one, or those of a pattern.
  const grounds = (one) => {
    for (let at = one; at; at = at.parentElement) {
      const style = getComputedStyle(at), plain = parts(style.backgroundColor);
      if (style.backgroundImage !== "none") return style.backgroundImage.match(/rgba?\([^)]*\)/g).map(parts);
      if (plain.length === 3 || plain[3] === 1) return [plain];
      if (plain[3] > 0) return [];      // half seen through: never used, and told as no contrast
    }
    return [[255, 255, 255]];
  };
  const least = (colour, behind) => behind.length ? Math.min(...behind.map((ground) => contrast(colour, ground))) : 0;

  const pen = document.createElement("canvas").getContext("2d");
  const capital = (style) => {
    pen.font = `${style.fontWeight} 1000px ${style.fontFamily}`;      // large, as it is told in whole pixels
    return pen.measureText("H").actualBoundingBoxAscent / 1000 * parseFloat(style.fontSize);
  };

  const holders = [...document.querySelectorAll("body *")].filter((one) => seen(one) &&
    [...one.childNodes].some((node) => node.nodeType === Node.TEXT_NODE && node.textContent.trim()) &&
    !one.closest("script, style, noscript, datalist, option, title, .unseen, .skip"));
  const texts = holders.map((one) => {
    const style = getComputedStyle(one), drawn = one instanceof SVGElement;
    const size = parseFloat(style.fontSize);
    return { what: said(one), contrast: least(parts(drawn ? style.fill : style.color), grounds(one)),
             capital: capital(style), large: size >= 24 || (size >= 18.66 && Number(style.fontWeight) >= 700) };
  });

  const kinds = "button, select, textarea, input:not([type=hidden]), summary, nav a, .act, .choices a";
  const controls = [...document.querySelectorAll(kinds)].filter(seen);
  const boxes = controls.map((one) => ({ one, box: one.getBoundingClientRect() }));
  const targets = boxes.map(({ one, box }) => ({ what: said(one), width: box.width, height: box.height }));
  const gaps = boxes.flatMap(({ one, box }, place) => boxes.slice(place + 1).map(({ one: next, box: other }) => ({
    what: `${said(one)} | ${said(next)}`,
    gap: Math.max(other.left - box.right, box.left - other.right, other.top - box.bottom, box.top - other.bottom) })));
  const borders = controls.filter((one) => parseFloat(getComputedStyle(one).borderTopWidth) > 0).map((one) => (
    { what: said(one), contrast: least(parts(getComputedStyle(one).borderTopColor), grounds(one.parentElement)) }));
  return { texts, targets, gaps, borders };
}
