// Texts on a page whose colour stands out too little from the ground they stand on.
() => {
  const numbers = (colour) => colour.match(/[\d.]+/g).map(Number);
  const light = (colour) => {
    const [r, g, b] = numbers(colour).slice(0, 3).map((v) => v / 255)
      .map((v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const seen = (colour) => colour !== "none" && (numbers(colour)[3] ?? 1) > 0.5;
  const ground = (element) => {
    for (let at = element; at; at = at.parentElement) {
      const { backgroundColor } = getComputedStyle(at);
      if (seen(backgroundColor)) return backgroundColor;
    }
    return "rgb(255, 255, 255)";
  };
  // What is drawn under a text: the last filled shape before it that holds its middle.
  const under = (text) => {
    const style = getComputedStyle(text);
    if (style.paintOrder.startsWith("stroke") && seen(style.stroke)) return style.stroke;
    const middle = (box) => [box.left + box.width / 2, box.top + box.height / 2];
    const [x, y] = middle(text.getBoundingClientRect());
    const shapes = [...text.ownerSVGElement.closest("figure, div, section")
      .querySelectorAll("rect, polygon, circle, path, use")];
    const before = shapes.filter((shape) => {
      const box = shape.getBoundingClientRect();
      return shape.compareDocumentPosition(text) & Node.DOCUMENT_POSITION_FOLLOWING &&
        x >= box.left && x <= box.right && y >= box.top && y <= box.bottom &&
        seen(getComputedStyle(shape).fill) && Number(getComputedStyle(shape).fillOpacity) > 0.5;
    });
    return before.length ? getComputedStyle(before.at(-1)).fill : ground(text.ownerSVGElement.parentElement);
  };
  const found = [];
  for (const element of document.querySelectorAll("body *")) {
    if (element.closest("defs, script, noscript")) continue;
    const own = [...element.childNodes].some((n) => n.nodeType === 3 && n.textContent.trim());
    if (!own || ["title", "option"].includes(element.localName) || !element.getClientRects().length) continue;
    const style = getComputedStyle(element), drawn = element instanceof SVGElement;
    const front = drawn ? style.fill : style.color, back = drawn ? under(element) : ground(element);
    const [a, b] = [light(front), light(back)].sort((p, q) => q - p), contrast = (a + 0.05) / (b + 0.05);
    if (contrast < 4.5) found.push(`${contrast.toFixed(2)} ${element.localName}.${element.className.baseVal ?? element.className}: ${front} on ${back}: ${element.textContent.trim().slice(0, 40)}`);
  }
  return [...new Set(found)];
}
