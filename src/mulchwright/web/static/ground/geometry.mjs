// Points are [x, y] in meters, x to the plan's right and y up, as in the book. Pure functions only.

export const distance = (a, b) => Math.hypot(b[0] - a[0], b[1] - a[1]);
export const add = (a, b) => [a[0] + b[0], a[1] + b[1]];
export const subtract = (a, b) => [a[0] - b[0], a[1] - b[1]];
export const middle = (a, b) => [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
// A tenth of a millimeter is finer than any tape; longer fractions are only noise of the screen's pixels.
export const tidy = ([x, y]) => [Math.round(x * 1e4) / 1e4, Math.round(y * 1e4) / 1e4];

const edges = (outline) => outline.map((point, n) => [point, outline[(n + 1) % outline.length]]);

export function area(outline) {
  let twice = 0;
  for (const [a, b] of edges(outline)) twice += a[0] * b[1] - b[0] * a[1];
  return Math.abs(twice) / 2;
}

export function centroid(outline) {
  let twice = 0, cx = 0, cy = 0;
  for (const [a, b] of edges(outline)) {
    const cross = a[0] * b[1] - b[0] * a[1];
    twice += cross;
    cx += (a[0] + b[0]) * cross;
    cy += (a[1] + b[1]) * cross;
  }
  return Math.abs(twice) < 1e-12 ? outline[0] : [cx / (3 * twice), cy / (3 * twice)];
}

const side = (p, q, r) => (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]);
const crosses = (a, b, c, d) => side(a, b, c) * side(a, b, d) < 0 && side(c, d, a) * side(c, d, b) < 0;

// The numbers (from 1) of two sides that cross, or null: the same test as the book makes.
export function crossingSides(outline) {
  const all = edges(outline);
  for (let i = 0; i < all.length; i += 1) {
    for (let j = i + 2; j < all.length; j += 1) {
      if (i === 0 && j === all.length - 1) continue;
      if (crosses(...all[i], ...all[j])) return [i + 1, j + 1];
    }
  }
  return null;
}

export function inside([x, y], outline) {
  let odd = false;
  for (const [[x0, y0], [x1, y1]] of edges(outline)) {
    const length2 = (x1 - x0) ** 2 + (y1 - y0) ** 2;
    if (length2) {
      const along = Math.min(1, Math.max(0, ((x - x0) * (x1 - x0) + (y - y0) * (y1 - y0)) / length2));
      if ((x - x0 - along * (x1 - x0)) ** 2 + (y - y0 - along * (y1 - y0)) ** 2 < 1e-6) return true;
    }
    if (y0 > y !== y1 > y && x < x0 + ((y - y0) * (x1 - x0)) / (y1 - y0)) odd = !odd;
  }
  return odd;
}

function onSegment(p, a, b) {
  const length2 = (b[0] - a[0]) ** 2 + (b[1] - a[1]) ** 2;
  if (!length2) return a;
  const along = ((p[0] - a[0]) * (b[0] - a[0]) + (p[1] - a[1]) * (b[1] - a[1])) / length2;
  return along <= 0 || along >= 1 ? null : [a[0] + along * (b[0] - a[0]), a[1] + along * (b[1] - a[1])];
}

const onLine = (p, from, direction) => {
  const along = (p[0] - from[0]) * direction[0] + (p[1] - from[1]) * direction[1];
  return [from[0] + along * direction[0], from[1] + along * direction[1]];
};

// Where a point goes that is put down near something: a corner first, then the crossing of a right angle with
// an edge or the grid, a right angle, an edge, the grid. `lines` are [point, unit direction] through which a
// right angle or a straight continuation would go.
export function snapped(point, { corners = [], outlines = [], lines = [], step = 0, reach = 0 }) {
  let best = null, least = reach;
  for (const corner of corners) {
    const far = distance(point, corner);
    if (far < least) [best, least] = [corner, far];
  }
  if (best) return { point: best, to: "corner" };
  const straight = lines
    .map(([from, direction]) => ({ from, direction, at: onLine(point, from, direction) }))
    .filter((line) => distance(point, line.at) < reach)
    .sort((a, b) => distance(point, a.at) - distance(point, b.at));
  if (straight.length > 1) {
    const [one, other] = straight;
    const cross = one.direction[0] * other.direction[1] - one.direction[1] * other.direction[0];
    if (Math.abs(cross) > 0.2) {
      const between = subtract(other.from, one.from);
      const along = (between[0] * other.direction[1] - between[1] * other.direction[0]) / cross;
      return { point: tidy(onLine([one.from[0] + along * one.direction[0], one.from[1] + along * one.direction[1]], one.from, one.direction)), to: "right angle" };
    }
  }
  if (straight.length) {
    const { from, direction, at } = straight[0];
    if (!step) return { point: tidy(at), to: "right angle" };
    const along = Math.round(((at[0] - from[0]) * direction[0] + (at[1] - from[1]) * direction[1]) / step) * step;
    return { point: tidy([from[0] + along * direction[0], from[1] + along * direction[1]]), to: "right angle" };
  }
  least = reach * 0.7;
  for (const outline of outlines) {
    for (const [a, b] of edges(outline)) {
      const at = onSegment(point, a, b);
      const far = at ? distance(point, at) : Infinity;
      if (far < least) [best, least] = [at, far];
    }
  }
  if (best) return { point: tidy(best), to: "edge" };
  if (step) return { point: tidy(point.map((v) => Math.round(v / step) * step)), to: "grid" };
  return { point: tidy(point), to: "" };
}

// Lines through `from` that stand square on, or run on from, the edge that ends there; and the plan's own axes.
export function squareLines(from, before) {
  const lines = [[from, [1, 0]], [from, [0, 1]]];
  if (before && distance(before, from) > 0) {
    const length = distance(before, from);
    const direction = [(from[0] - before[0]) / length, (from[1] - before[1]) / length];
    lines.push([from, direction], [from, [-direction[1], direction[0]]]);
  }
  return lines;
}

export const rectangle = ([x0, y0], [x1, y1]) => {
  const [left, right] = [Math.min(x0, x1), Math.max(x0, x1)];
  const [low, high] = [Math.min(y0, y1), Math.max(y0, y1)];
  return [[left, low], [right, low], [right, high], [left, high]];
};

export const shifted = (thing, by) => {
  if (thing.center) return { ...thing, center: tidy(add(thing.center, by)) };
  if (thing.point) return { ...thing, point: tidy(add(thing.point, by)) };
  return { ...thing, outline: thing.outline.map((corner) => tidy(add(corner, by))) };
};

export const anchorOf = (thing) =>
  thing.center ?? thing.point ?? (thing.outline?.length ? centroid(thing.outline) : null);

export const pointsOf = (thing) => thing.outline ?? [thing.center ?? thing.point];
