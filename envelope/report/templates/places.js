// Arrow keys go from place to place of a drawing.
"use strict";

const ARROWS = { ArrowRight: [1, 0], ArrowLeft: [-1, 0], ArrowDown: [0, 1], ArrowUp: [0, -1] };

// The nearest place in a direction; the same where there is none.
function neighbour(from, places, [right, down]) {
  const middle = (element) => {
    const box = element.getBoundingClientRect();
    return [box.left + box.width / 2, box.top + box.height / 2];
  };
  const [x, y] = middle(from);
  let best = from, least = Infinity;
  for (const element of places) {
    const [a, b] = middle(element), ahead = (a - x) * right + (b - y) * down;
    if (ahead < 1) continue;
    const aside = Math.abs((a - x) * down) + Math.abs((b - y) * right), cost = ahead + 4 * aside;
    if (cost < least) [best, least] = [element, cost];
  }
  return best;
}
