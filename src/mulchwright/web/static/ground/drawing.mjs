// Draws the plan. The world is in centimeters with y downward, as in the drawing the server makes; classes carry
// all looks. Panning sets one transform; only what changed is drawn anew.
import { anchorOf, area, distance, middle } from "./geometry.mjs";
import { roundLengths, showArea, showLength } from "./words.mjs";

const SVG = "http://www.w3.org/2000/svg";
const CM = 100;
const LOBE_M = 0.55;
export const ORDER = ["zone", "path", "bed", "patch", "wall", "tap", "crown"];
const NAME_FIRST = ["patch", "wall", "bed", "crown", "tap", "zone", "path"];
const LETTER_PX = 9;
// A thumb needs a larger trunk to take a crown by than a mouse; a larger one would hide the bed beneath.
const COARSE = matchMedia("(pointer: coarse)");

// One decimal at most, as the server writes it, so that both drawings are the same to the letter.
const figure = (value) => value.toFixed(1).replace(/\.0$/, "").replace(/^-0$/, "0");

export const node = (name, attributes = {}, ...children) => {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) if (value !== null) element.setAttribute(key, value);
  element.append(...children);
  return element;
};

export const outlinePath = (outline, closed = true) =>
  outline.length ? `M${outline.map(([x, y]) => `${figure(x * CM)} ${figure(-y * CM)}`).join("L")}${closed ? "Z" : ""}` : "";

export function crownPath(radius, evergreen) {
  const lobes = Math.max(8, Math.min(28, Math.round((2 * Math.PI * radius) / LOBE_M)));
  const rim = radius * CM, valley = rim * (evergreen ? 0.88 : 0.93), step = (2 * Math.PI) / lobes;
  const at = (r, angle) => `${figure(r * Math.cos(angle))} ${figure(r * Math.sin(angle))}`;
  let d = `M${at(valley, 0)}`;
  for (let n = 0; n < lobes; n += 1) {
    d += evergreen
      ? `L${at(rim, (n + 0.5) * step)}L${at(valley, (n + 1) * step)}`
      : `Q${at(2 * rim - valley * Math.cos(step / 2), (n + 0.5) * step)} ${at(valley, (n + 1) * step)}`;
  }
  return `${d}Z`;
}

function shapeParts(thing) {
  if (thing.of === "crown") {
    return [
      node("path", { d: crownPath(thing.radius_m, thing.evergreen), class: "rim" }),
      node("circle", { r: Math.max(thing.trunk_radius_m, 0.08) * CM, class: "trunk" }),
    ];
  }
  if (thing.of === "tap") return [node("circle", { r: thing.reach_m * CM, class: "reach" })];
  const d = outlinePath(thing.outline);
  const parts = [node("path", { d, class: "body" })];
  if (thing.of === "bed") parts.unshift(node("path", { d, class: "under-edge", transform: "translate(5 5)" }));
  if (thing.of === "patch" || thing.of === "zone" || thing.house) parts.push(node("path", { d, class: "texture" }));
  return parts;
}

const placeOf = (thing) => {
  const at = thing.center ?? thing.point;
  return at ? `translate(${figure(at[0] * CM)} ${figure(-at[1] * CM)})` : null;
};

export const sizeWords = (thing, system) => {
  if (thing.of === "crown") return `${showLength(2 * thing.radius_m, system)} across`;
  if (thing.of === "tap") return `hose reaches ${showLength(thing.reach_m, system)}`;
  return thing.outline.length ? showArea(area(thing.outline), system) : "not drawn yet";
};

export class Drawing {
  constructor(host, units, kinds) {
    this.units = units;
    this.kinds = kinds;
    this.view = { scale: 0.5, x: 0, y: 0 }; // pixels per centimeter; where the plan's origin lies, pixels
    this.shown = new Map();
    this.layers = Object.fromEntries(ORDER.map((kind) => [kind, node("g", { class: `layer ${kind}-layer` })]));
    this.backdrop = node("g", { class: "backdrop" });
    this.grid = node("path", { class: "grid" });
    this.names = node("g", { class: "names", "aria-hidden": "true" });
    this.overlay = node("g", { class: "overlay" });
    this.world = node("g", { class: "world" }, this.backdrop, this.grid, ...ORDER.map((kind) => this.layers[kind]), this.names, this.overlay);
    this.needle = node("path", { d: "M0 -26L8 12L0 6L-8 12Z", class: "needle" });
    this.letter = node("text", { class: "north-letter", "text-anchor": "middle" }, "N");
    this.scaleBar = node("path", { class: "scale" });
    this.scaleWords = node("text", { class: "scale-words" });
    const fixed = node("g", { class: "fixed", "aria-hidden": "true" }, node("g", {}, this.needle), this.letter, this.scaleBar, this.scaleWords);
    this.svg = node("svg", { class: "plan-drawing live", role: "application", tabindex: "0", "aria-label": "Plan of the garden", "aria-describedby": "plan-help" }, patterns(), this.world, fixed);
    this.covered = null;
    host.replaceChildren(this.svg);
    this.measure();
  }

  measure() {
    const box = this.svg.getBoundingClientRect();
    [this.width, this.height, this.left, this.top] = [box.width, box.height, box.left, box.top];
    this.setView(this.view);
  }

  // ---- places ----

  toWorld(clientX, clientY) {
    const { scale, x, y } = this.view;
    return [(clientX - this.left - x) / scale / CM, -(clientY - this.top - y) / scale / CM];
  }

  toScreen([x, y]) {
    return [this.view.x + x * CM * this.view.scale, this.view.y - y * CM * this.view.scale];
  }

  meters(pixels) {
    return pixels / this.view.scale / CM;
  }

  setView(view) {
    const zoomed = view.scale !== this.view.scale || !this.covered;
    this.view = view;
    this.world.setAttribute("transform", `translate(${view.x.toFixed(2)} ${view.y.toFixed(2)}) scale(${view.scale})`);
    if (zoomed) {
      this.drawScale();
      for (const entry of this.shown.values()) this.placeName(entry);
      this.declutter();
      this.onZoom?.();
    }
    this.drawGrid();
  }

  zoom(factor, clientX = this.left + this.width / 2, clientY = this.top + this.height / 2) {
    const scale = Math.min(20, Math.max(0.01, this.view.scale * factor));
    const [px, py] = [clientX - this.left, clientY - this.top];
    const ratio = scale / this.view.scale;
    this.setView({ scale, x: px - (px - this.view.x) * ratio, y: py - (py - this.view.y) * ratio });
  }

  fit(things) {
    const xs = [], ys = [];
    for (const thing of things) {
      const spread = thing.of === "crown" ? thing.radius_m : 0;
      for (const [x, y] of thing.outline ?? [thing.center ?? thing.point]) {
        xs.push(x - spread, x + spread);
        ys.push(y - spread, y + spread);
      }
    }
    if (!xs.length) { xs.push(0, 12); ys.push(0, 8); }
    const [left, right, low, high] = [Math.min(...xs), Math.max(...xs), Math.min(...ys), Math.max(...ys)];
    const margin = 34;
    const scale = Math.min((this.width - 2 * margin) / Math.max(right - left, 3), (this.height - 2 * margin - 30) / Math.max(high - low, 3)) / CM;
    const kept = Math.min(20, Math.max(0.01, scale));
    this.setView({
      scale: kept,
      x: this.width / 2 - ((left + right) / 2) * CM * kept,
      y: this.height / 2 - 10 + ((low + high) / 2) * CM * kept,
    });
  }

  // ---- things ----

  show(id, thing) {
    let entry = this.shown.get(id);
    if (!thing || (thing.outline && !thing.outline.length)) {
      entry?.group.remove();
      entry?.name.remove();
      this.shown.delete(id);
      return;
    }
    if (!entry) {
      const group = node("g", { "data-id": id, tabindex: "0", role: "button" });
      const name = node("g", { class: `name-of ${thing.of}` });
      this.layers[thing.of].append(group);
      this.names.append(name);
      entry = { group, name };
      this.shown.set(id, entry);
    }
    if (entry.thing === thing) return;
    entry.thing = thing;
    const { group } = entry;
    group.setAttribute("class", `thing ${thing.of}${thing.house ? " house" : ""}${entry.marks ?? ""}`);
    group.setAttribute("aria-label", `${this.kinds[thing.of].name} ${thing.name}, ${sizeWords(thing, this.units)}`);
    const place = placeOf(thing);
    if (place) group.setAttribute("transform", place); else group.removeAttribute("transform");
    group.replaceChildren(...shapeParts(thing));
    entry.name.replaceChildren(...nameParts(thing));
    if (thing.of === "tap") this.addHit(group, 24);
    if (thing.of === "crown") this.addHit(group, COARSE.matches ? 23 : 15);
    this.placeName(entry);
  }

  // A round target of at least so many pixels about the middle, for fingers; it has the size of a thumb at any scale.
  addHit(group, pixels) {
    const hit = node("circle", { class: "hit", r: pixels / this.view.scale });
    hit.dataset.pixels = pixels;
    group.append(hit);
  }

  placeName(entry) {
    const at = anchorOf(entry.thing);
    entry.name.setAttribute("transform", `translate(${figure(at[0] * CM)} ${figure(-at[1] * CM)}) scale(${1 / this.view.scale})`);
    const hit = entry.group.querySelector(".hit");
    if (hit) hit.setAttribute("r", Number(hit.dataset.pixels) / this.view.scale);
  }

  // Names that would lie on each other give way to the more important; those in sight come first by kind.
  declutter() {
    // The needle and the scale have their places first. `views/name_room.py` keeps the same rule.
    const taken = [[this.width - 56, 0, this.width, 90], [0, this.height - 36, 190, this.height]];
    const entries = [...this.shown.values()].sort((a, b) => NAME_FIRST.indexOf(a.thing.of) - NAME_FIRST.indexOf(b.thing.of));
    for (const entry of entries) {
      const [x, y] = this.toScreen(anchorOf(entry.thing));
      const half = (entry.thing.name.length * LETTER_PX) / 2 + 2;
      const drop = entry.thing.of === "tap" ? 32 : entry.thing.of === "crown" ? 24 : 0;
      const box = [x - half, y + drop - 12, x + half, y + drop + 12];
      const free = taken.every((other) => box[2] < other[0] || box[0] > other[2] || box[3] < other[1] || box[1] > other[3]);
      // The name of what is chosen stands under the plan; here are its lengths.
      const hidden = !free || (entry.thing.outline && entry.group.classList.contains("selected"));
      if (!hidden) taken.push(box);
      entry.name.classList.toggle("no-room", hidden);
    }
  }

  mark(id, className, on) {
    const entry = this.shown.get(id);
    if (!entry) return;
    entry.group.classList.toggle(className, on);
    entry.marks = ["selected", "faulty"].filter((each) => entry.group.classList.contains(each)).map((each) => ` ${each}`).join("");
  }

  // ---- what lies over the things ----

  // A word of constant size at a place of the plan.
  label(at, words, className, dy = 0) {
    return node("g", { class: className, transform: `translate(${at[0] * CM} ${-at[1] * CM}) scale(${1 / this.view.scale})`, "aria-hidden": "true" },
      node("text", { "text-anchor": "middle", y: 6 + dy }, words));
  }

  // Lengths along the sides; a side too short on the screen for its words goes without.
  sides(outline, closed) {
    const labels = [];
    for (let n = 0; n < outline.length - (closed ? 0 : 1); n += 1) {
      const [a, b] = [outline[n], outline[(n + 1) % outline.length]];
      const far = distance(a, b), words = showLength(far, this.units);
      const [pa, pb] = [this.toScreen(a), this.toScreen(b)];
      const flat = Math.abs(pb[0] - pa[0]), tall = Math.abs(pb[1] - pa[1]);
      if (far === 0 || Math.max(flat - words.length * LETTER_PX, tall - 24) < 4) continue;
      const at = middle(a, b);
      const out = far ? [(b[1] - a[1]) / far, -(b[0] - a[0]) / far] : [0, 0];
      const turn = outline.length > 2 && signedArea(outline) < 0 ? -1 : 1;
      const away = this.meters(16 + (tall > flat ? (words.length * LETTER_PX) / 2 - 6 : 0));
      labels.push(this.label([at[0] + turn * out[0] * away, at[1] + turn * out[1] * away], words, "length"));
    }
    return labels;
  }

  drawGrid() {
    const { scale, x, y } = this.view;
    const step = roundLengths(this.units).find((each) => each * CM * scale >= 34) ?? 500;
    const left = -x / scale, top = -y / scale, right = (this.width - x) / scale, low = (this.height - y) / scale;
    const c = this.covered;
    if (c && c.step === step && c.left <= left && c.top <= top && c.right >= right && c.low >= low) return;
    const spare = Math.max(right - left, low - top);
    this.covered = { step, left: left - spare, top: top - spare, right: right + spare, low: low + spare };
    const { left: l, right: r, top: t, low: b } = this.covered;
    const gap = step * CM;
    let d = "";
    for (let at = Math.ceil(l / gap) * gap; at <= r; at += gap) d += `M${at.toFixed(1)} ${t.toFixed(0)}V${b.toFixed(0)}`;
    for (let at = Math.ceil(t / gap) * gap; at <= b; at += gap) d += `M${l.toFixed(0)} ${at.toFixed(1)}H${r.toFixed(0)}`;
    this.grid.setAttribute("d", d);
  }

  drawScale() {
    const lengths = roundLengths(this.units);
    const length = lengths.find((each) => each * CM * this.view.scale >= 70) ?? lengths.at(-1);
    const end = 14 + length * CM * this.view.scale, y = this.height - 14;
    this.scaleBar.setAttribute("d", `M14 ${y - 7}V${y}H${end}V${y - 7}`);
    this.scaleWords.setAttribute("x", end + 8);
    this.scaleWords.setAttribute("y", y);
    this.scaleWords.textContent = showLength(length, this.units);
    this.placeNorth();
  }

  setNorth(degrees) {
    this.north = degrees;
    this.placeNorth();
  }

  placeNorth() {
    this.needle.parentNode.setAttribute("transform", `translate(${this.width - 30} 40) rotate(${-(this.north ?? 0)})`);
    this.letter.setAttribute("x", this.width - 30);
    this.letter.setAttribute("y", 78);
  }
}

const signedArea = (outline) => outline.reduce((sum, [x, y], n) => {
  const [x1, y1] = outline[(n + 1) % outline.length];
  return sum + x * y1 - x1 * y;
}, 0);

function nameParts(thing) {
  const text = (y) => node("text", { "text-anchor": "middle", y, class: "name" }, thing.name);
  if (thing.of === "tap") return [node("path", { d: "M0 -9C5 -2 8 2 8 6A8 8 0 0 1 -8 6C-8 2 -5 -2 0 -9ZM-9 -13H9", class: "tap-mark" }), text(38)];
  return [text(thing.of === "crown" ? 30 : 6)];
}

const pattern = (id, size, d, className) =>
  node("pattern", { id: `live-${id}`, width: size[0], height: size[1], patternUnits: "userSpaceOnUse" }, node("path", { d, class: className }));

const patterns = () => node("defs", {},
  pattern("threads", [30, 28], "M0 7C6 3 9 11 15 7S24 3 30 7M-4 21C3 17 8 25 15 21S27 17 34 21", "threads-mark"),
  pattern("zone", [24, 24], "M0 24L24 0", "zone-mark"),
  pattern("house", [40, 40], "M0 0H40M0 20H40", "house-mark"));
