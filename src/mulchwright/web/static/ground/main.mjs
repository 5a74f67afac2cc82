// The plan that can be drawn on. One object, `plan`, holds what the window knows; the other modules turn
// pointers, keys and forms into changes, and every change goes through `commit`.
import { Drawing, node, outlinePath, crownPath, sizeWords } from "./drawing.mjs";
import { anchorOf, area, crossingSides, distance, inside, middle, pointsOf, shifted, snapped, squareLines, tidy } from "./geometry.mjs";
import { wakeKeys } from "./keys.mjs";
import { wakePointers } from "./pointing.mjs";
import { Saver } from "./saving.mjs";
import { wakeSheet } from "./sheet.mjs";
import { wakeBackdrop } from "./backdrop.mjs";
import { gridSteps, showArea, showLength, showPlace } from "./words.mjs";

const SNAP_PX = 12;
const SMALLEST_M = 0.05;
const LEAST_DRAG_M = 0.1;
const wide = matchMedia("(min-width: 1020px)");

export const idOf = (thing) => `${thing.of}/${thing.key}`;
const same = (a, b) => JSON.stringify(a) === JSON.stringify(b);

class Plan {
  constructor(root, data) {
    this.root = root;
    this.find = (name) => root.querySelector(`[data-${name}]`);
    this.data = data;
    this.units = data.units;
    this.things = new Map(); // as drawn here
    this.base = new Map(); // as saved, or on the way to be
    this.undone = [];
    this.done = [];
    this.mode = "choose";
    this.draft = null;
    this.selected = null;
    this.corner = null;
    this.theirs = [];
    this.drawing = new Drawing(this.find("stage"), this.units, data.kinds);
    this.drawing.onZoom = () => this.drawOverlay();
    this.saver = new Saver({
      saved: (plan) => this.takeIn(plan),
      refused: (message, item) => this.refused(message, item),
      clash: (answer, item) => this.clash(answer, item),
      status: (words, kind) => this.status(words, kind),
    }, data.revision);
  }

  get(id) {
    return this.things.get(id) ?? null;
  }

  // ---- from the book ----

  takeIn(data) {
    this.data = data;
    this.saver.revision = data.revision;
    const now = new Map(data.objects.map((thing) => [idOf(thing), thing]));
    for (const id of new Set([...this.things.keys(), ...now.keys()])) {
      if (this.saver.touches(id)) continue;
      const held = this.base.has(id) ? !same(this.get(id), this.base.get(id)) : false;
      const fresh = now.get(id) ?? null;
      this.set(this.base, id, fresh);
      if (!held && !same(this.get(id), fresh)) this.put(id, fresh);
    }
    this.drawing.setNorth(data.north_deg);
    if (this.selected && !this.get(this.selected)) this.select(null);
    this.refresh();
  }

  set(map, id, thing) {
    if (thing) map.set(id, thing);
    else map.delete(id);
  }

  put(id, thing) {
    this.set(this.things, id, thing);
    this.drawing.show(id, thing);
    this.drawing.mark(id, "faulty", Boolean(thing && fault(thing)));
  }

  async lookAgain() {
    if (this.saver.queue.length || this.saver.stopped || this.draft || this.preview) return;
    try {
      const response = await fetch("/ground/plan.json", { cache: "no-store" });
      const data = await response.json();
      if (data.revision !== this.saver.revision && !this.saver.queue.length) {
        if (data.units !== this.units) location.reload();
        this.takeIn(data);
        this.status("Brought up to date with what another window saved.", "good");
      }
    } catch {
      // The next act will say that the program cannot be reached.
    }
  }

  // ---- to the book ----

  // changes: [[id, thing or null]], `what` in words for undo and for the reader.
  commit(what, changes, { remember = true } = {}) {
    const steps = changes
      .map(([id, after]) => ({ id, before: this.get(id), after: settled(after, this) }))
      .filter(({ before, after }) => !same(before, after));
    if (!steps.length) return;
    if (remember) {
      this.done.push({ what, steps });
      this.undone = [];
    }
    for (const { id, after } of steps) this.put(id, after);
    this.send(what, steps.map((step) => step.id));
    this.refresh();
  }

  send(what, ids) {
    const wrong = ids.map((id) => [id, this.get(id)]).filter(([, thing]) => thing && fault(thing));
    const acts = [];
    for (const id of ids) {
      const [before, after] = [this.base.get(id) ?? null, this.get(id)];
      if ((after && fault(after)) || same(before, after)) continue;
      acts.push({ id, kind: id.split("/")[0], before, after });
      this.set(this.base, id, after);
    }
    if (acts.length) this.saver.add({ what, acts });
    if (wrong.length) this.status(`${fault(wrong[0][1])} It is saved as soon as that is mended; Undo brings back how it was.`, "bad");
    else this.say(`${what}.`);
  }

  undo() {
    this.step(this.done, this.undone, "before", "Undone");
  }

  redo() {
    this.step(this.undone, this.done, "after", "Done again");
  }

  step(from, to, way, word) {
    if (this.draft) return this.cancelDraft();
    const last = from.pop();
    if (!last) return this.say("Nothing more to go back to.");
    to.push(last);
    this.commit(`${word}: ${last.what.toLowerCase()}`, last.steps.map((each) => [each.id, each[way]]), { remember: false });
    return undefined;
  }

  refused(message, item) {
    // What was drawn stays on the screen until it is mended or undone; the book has it as it was.
    for (const { id } of item.acts) {
      const saved = this.data.objects.find((thing) => idOf(thing) === id) ?? null;
      this.set(this.base, id, saved);
      if (item.acts.some((act) => act.id === id && act.after === null) && saved) this.put(id, saved);
    }
    this.status(`Not saved. ${message}`, "bad");
    this.refresh();
  }

  // ---- two windows ----

  clash(answer, item) {
    this.status(answer.message, "bad");
    const fresh = new Map(answer.plan.objects.map((thing) => [idOf(thing), thing]));
    this.data = answer.plan;
    const box = this.find("clash");
    const list = answer.clashes.map((clash) => {
      const li = document.createElement("li");
      li.textContent = `In the other window: ${clash.theirs}. Here: ${clash.mine}.`;
      return li;
    });
    box.querySelector("p").textContent = answer.message;
    box.querySelector("ul").replaceChildren(...list);
    const ids = answer.clashes.map((clash) => `${clash.kind}/${clash.key}`);
    this.theirs = ids.map((id) => fresh.get(id)).filter(Boolean);
    const finish = (acts) => {
      this.saver.queue.shift();
      if (acts.length) this.saver.queue.unshift({ ...item, acts });
      box.hidden = true;
      this.root.classList.remove("clashing");
      this.theirs = [];
      this.takeIn(answer.plan);
      this.saver.resume();
      this.drawing.svg.focus();
    };
    const dropLater = () => {
      for (const later of this.saver.queue.slice(1)) later.acts = later.acts.filter((act) => !ids.includes(act.id));
      this.saver.queue = this.saver.queue.filter((each, n) => n === 0 || each.acts.length);
    };
    const rest = item.acts.filter((act) => !ids.includes(act.id));
    box.querySelector("[value=mine]").onclick = () => {
      finish(item.acts.map((act) => (ids.includes(act.id) ? { ...act, before: fresh.get(act.id) ?? null } : act)));
    };
    box.querySelector("[value=theirs]").onclick = () => {
      dropLater();
      for (const id of ids) {
        this.set(this.base, id, fresh.get(id) ?? null);
        this.put(id, fresh.get(id) ?? null);
      }
      finish(rest);
    };
    box.querySelector("[value=both]").onclick = () => {
      dropLater();
      const copies = [];
      for (const id of ids) {
        const mine = this.get(id);
        this.set(this.base, id, fresh.get(id) ?? null);
        this.put(id, fresh.get(id) ?? null);
        if (!mine) continue;
        const second = { ...planned(mine), key: this.freeKey(mine.of), name: `${mine.name}, from here` };
        copies.push({ id: idOf(second), kind: second.of, before: null, after: second });
        this.put(idOf(second), second);
        this.set(this.base, idOf(second), second);
      }
      finish([...rest, ...copies]);
    };
    box.hidden = false;
    // The plan gives some of its height away, so that question and drawing are seen together.
    this.root.classList.add("clashing");
    this.drawing.measure();
    const mine = this.get(ids[0]) ?? this.theirs[0];
    const at = mine && anchorOf(mine);
    if (at) {
      const [x, y] = this.drawing.toScreen(at);
      const { view, width, height } = this.drawing;
      this.drawing.setView({ ...view, x: view.x + width / 2 - x, y: view.y + height / 2 - y });
    }
    box.querySelector("button").focus();
    this.drawOverlay();
  }

  // ---- choosing ----

  select(id, { focus = false, corner = null } = {}) {
    const changed = id !== this.selected;
    if (this.selected) this.drawing.mark(this.selected, "selected", false);
    this.selected = id && this.things.has(id) ? id : null;
    this.corner = corner;
    if (this.selected) {
      this.drawing.mark(this.selected, "selected", true);
      if (focus) this.drawing.shown.get(this.selected)?.group.focus({ preventScroll: true });
    }
    this.refresh();
    if (changed) this.onSelect?.(this.selected);
  }

  setMode(mode) {
    this.cancelDraft();
    this.mode = mode;
    if (mode !== "choose") {
      this.select(null);
      this.cursor = null;
    }
    this.refresh();
  }

  // ---- drawing ----

  step_m() {
    return Number(this.find("snap").value);
  }

  snap(point, { but = null, from = null, before = null, first = null, free = false } = {}) {
    if (free || this.find("snap").value === "off") return { point: tidy(point), to: "" };
    const corners = [], outlines = [];
    for (const [id, thing] of this.things) {
      if (id === but || !thing.outline?.length) continue;
      corners.push(...thing.outline);
      outlines.push(thing.outline);
    }
    if (first) corners.push(first);
    const lines = from ? squareLines(from, before) : [];
    if (first && from) lines.push([first, [1, 0]], [first, [0, 1]]);
    return snapped(point, { corners, outlines, lines, step: this.step_m(), reach: this.drawing.meters(SNAP_PX) });
  }

  newThing(of, shape) {
    const name = this.freeName(this.data.kinds[of].name);
    return { ...structuredClone(this.data.starters[of]), key: this.freeKey(of), name, ...shape };
  }

  freeKey(of) {
    for (;;) {
      const key = `${of}-${crypto.getRandomValues(new Uint32Array(1))[0].toString(36).slice(0, 6)}`;
      if (!this.things.has(`${of}/${key}`)) return key;
    }
  }

  freeName(stem) {
    const names = new Set([...this.things.values()].map((thing) => thing.name));
    for (let n = 1; ; n += 1) {
      const name = n === 1 ? stem : `${stem} ${n}`;
      if (!names.has(name)) return name;
    }
  }

  // A point was set while drawing: the next corner, a crown's middle or rim, a tap.
  setPoint(point) {
    const { shape } = this.data.kinds[this.mode];
    if (shape === "point") return this.finish({ point });
    if (shape === "circle") {
      if (!this.draft) this.draft = { points: [point], at: point };
      else if (distance(this.draft.points[0], point) >= SMALLEST_M) return this.finish({ center: this.draft.points[0], radius_m: round(distance(this.draft.points[0], point)) });
      return this.refresh();
    }
    if (!this.draft) this.draft = { points: [], at: point };
    const { points } = this.draft;
    if (points.length >= 3 && distance(points[0], point) <= this.drawing.meters(SNAP_PX)) return this.finishOutline();
    if (points.length && distance(points.at(-1), point) < 0.005) return points.length >= 3 ? this.finishOutline() : undefined;
    points.push(point);
    this.draft.at = point;
    return this.refresh();
  }

  finishOutline() {
    const points = this.draft?.points ?? [];
    if (points.length < 3) return this.say("An outline needs three corners at least.");
    return this.finish({ outline: points });
  }

  finish(shape) {
    const of = this.mode;
    if (shape.outline && area(shape.outline) < 1e-4) return this.say("That encloses no area; draw it larger.");
    const starter = this.data.starters[of];
    if (of === "crown" && shape.radius_m < LEAST_DRAG_M && !this.draft) return undefined;
    // A wide crown belongs to a taller tree than the starter's.
    if (of === "crown") shape = { ...shape, height_m: round(Math.max(0.4, Math.min(25, shape.radius_m * 2.4))), base_m: round(Math.min(starter.base_m, shape.radius_m * 0.6)) };
    const filled = this.filling ? this.get(this.filling) : null;
    const thing = filled ? { ...filled, ...shape } : this.newThing(of, shape);
    this.filling = null;
    if (of === "patch" && !thing.bed) {
      const bed = [...this.things.values()].find((each) => each.of === "bed" && each.outline.length && shape.outline.every((corner) => inside(corner, each.outline)));
      thing.bed = bed?.key ?? null;
    }
    this.draft = null;
    this.mode = "choose";
    this.commit(`${this.data.kinds[of].name} drawn`, [[idOf(thing), thing]]);
    this.select(idOf(thing), { focus: true });
    return undefined;
  }

  // The outline of a bed that is in the garden but not on the plan yet.
  drawFor(id) {
    this.setMode(id.split("/")[0]);
    this.filling = id;
    this.drawing.svg.scrollIntoView({ block: "nearest" });
    this.drawing.svg.focus({ preventScroll: true });
  }

  cancelDraft() {
    this.draft = null;
    this.preview = null;
    this.filling = null;
    this.refresh();
  }

  takeBackCorner() {
    this.draft?.points.pop();
    if (this.draft && !this.draft.points.length) this.draft = null;
    this.refresh();
  }

  // ---- changing what is selected ----

  selectedThing() {
    return this.selected ? this.get(this.selected) : null;
  }

  moveBy(by) {
    const thing = this.selectedThing();
    if (thing) this.commit(`${thing.name} moved`, [[this.selected, shifted(thing, by)]]);
  }

  moveCorner(n, point) {
    const thing = this.selectedThing();
    const outline = thing.outline.map((corner, at) => (at === n ? tidy(point) : corner));
    this.commit(`Corner of ${thing.name} moved`, [[this.selected, { ...thing, outline }]]);
  }

  addCorner(n, point = null) {
    const thing = this.selectedThing();
    if (!thing?.outline) return;
    const at = point ?? middle(thing.outline[n], thing.outline[(n + 1) % thing.outline.length]);
    const outline = thing.outline.toSpliced(n + 1, 0, tidy(at));
    this.commit(`Corner added to ${thing.name}`, [[this.selected, { ...thing, outline }]]);
    this.corner = n + 1;
    this.refresh();
  }

  removeCorner(n) {
    const thing = this.selectedThing();
    if (!thing?.outline || n === null) return;
    if (thing.outline.length <= 3) {
      this.say("Three corners are the least; remove the whole object instead.");
      return;
    }
    this.commit(`Corner of ${thing.name} removed`, [[this.selected, { ...thing, outline: thing.outline.toSpliced(n, 1) }]]);
    this.corner = null;
    this.refresh();
  }

  duplicate() {
    const thing = this.selectedThing();
    if (!thing) return;
    const by = this.drawing.meters(24);
    const second = shifted({ ...planned(structuredClone(thing)), key: this.freeKey(thing.of), name: this.freeName(thing.name) }, [by, -by]);
    this.commit(`${thing.name} copied`, [[idOf(second), second]]);
    this.select(idOf(second), { focus: true });
  }

  remove() {
    const thing = this.selectedThing();
    if (!thing) return;
    if (thing.of === "patch" && this.data.logged.includes(thing.key)) {
      this.commit(`${thing.name} taken off the plan; it stays under Beds with its logbook`, [[this.selected, { ...thing, outline: [] }]]);
    } else {
      const changes = [[this.selected, null]];
      // Mushroom beds that lie in a garden bed stay when it goes; an undo puts them back into it.
      if (thing.of === "bed") for (const [id, other] of this.things) if (other.of === "patch" && other.bed === thing.key) changes.push([id, { ...other, bed: null }]);
      this.commit(`${thing.name} removed`, changes);
    }
    this.select(null);
    this.drawing.svg.focus({ preventScroll: true });
  }

  // ---- what is seen ----

  say(words) {
    this.find("said").textContent = words;
  }

  status(words, kind) {
    const box = this.find("saving");
    box.textContent = words;
    box.dataset.kind = kind;
  }

  refresh() {
    for (const button of this.root.querySelectorAll("[data-mode]")) button.setAttribute("aria-pressed", String(button.dataset.mode === this.mode));
    const thing = this.selectedThing();
    const drawingNow = this.mode !== "choose";
    this.show("selected-tools", Boolean(thing) && !drawingNow);
    this.show("draft-tools", drawingNow);
    this.show("hint-row", !thing || drawingNow);
    const shape = drawingNow ? this.data.kinds[this.mode].shape : null;
    this.show("finish", shape === "outline" && (this.draft?.points.length ?? 0) >= 3);
    this.show("back-corner", shape === "outline" && Boolean(this.draft));
    this.show("add-corner", Boolean(thing?.outline?.length));
    this.show("remove-corner", Boolean(thing?.outline?.length) && this.corner !== null);
    this.find("selected-name").textContent = thing ? `${thing.name}, ${sizeWords(thing, this.units)}` : "";
    this.find("hint").textContent = drawingNow ? this.hint(shape) : "Tap an object to choose it; drag it to move it. Drag the ground to move the view.";
    this.find("undo").setAttribute("aria-disabled", String(!this.done.length));
    this.find("redo").setAttribute("aria-disabled", String(!this.undone.length));
    this.drawing.svg.classList.toggle("drawing-now", drawingNow);
    this.drawing.declutter();
    this.drawOverlay();
    this.onRefresh?.();
  }

  show(name, on) {
    this.find(name).hidden = !on;
  }

  hint(shape) {
    const name = this.data.kinds[this.mode].name;
    if (shape === "point") return `${name}: tap where it stands.`;
    if (shape === "circle") return this.draft ? `${name}: now tap its rim.` : `${name}: press on the trunk and drag to the rim.`;
    const so = this.draft?.points.length > 2 ? `, ${showArea(area(this.draft.points), this.units)}` : "";
    if (!this.draft) return `${name}: drag a rectangle, or tap corner after corner.`;
    return this.draft.points.length < 3 ? `${name}: tap the next corner.` : `${name}${so}: tap the first corner again, or Finish.`;
  }

  drawOverlay() {
    const { drawing } = this;
    const parts = [];
    for (const thing of this.theirs) parts.push(ghost(thing, "theirs"));
    const shown = this.preview ?? this.selectedThing();
    if (this.mode === "choose" && shown) parts.push(...this.selectionParts(shown));
    if (this.mode !== "choose") parts.push(...this.draftParts());
    if (this.picking) parts.push(...this.picking.map((at, n) => node("g", {}, handle(drawing, at, "picked"), drawing.label(at, `point ${n + 1}`, "length", -22))));
    const held = document.activeElement?.dataset?.handle;
    drawing.overlay.replaceChildren(...parts);
    if (held) drawing.overlay.querySelector(`[data-handle="${held}"]`)?.focus({ preventScroll: true });
  }

  // Whether there is room for words within an outline, between the lengths along its sides.
  roomy(outline) {
    const at = outline.map((corner) => this.drawing.toScreen(corner));
    const span = (axis) => Math.max(...at.map((p) => p[axis])) - Math.min(...at.map((p) => p[axis]));
    return span(0) > 130 && span(1) > 70;
  }

  selectionParts(thing) {
    const { drawing } = this;
    const parts = [];
    if (this.preview) parts.push(ghost(thing, "preview"));
    if (thing.outline) {
      if (!thing.outline.length) return parts;
      parts.push(...drawing.sides(thing.outline, true));
      if (this.preview && this.roomy(thing.outline)) parts.push(drawing.label(anchorOf(thing), showArea(area(thing.outline), this.units), "length", 24));
      const { outline } = thing;
      outline.forEach((corner, n) => {
        const next = outline[(n + 1) % outline.length];
        if (distance(...[corner, next].map((p) => drawing.toScreen(p))) > 64) {
          const add = handle(drawing, middle(corner, next), "between", `between-${n}`);
          parts.push(add);
        }
      });
      outline.forEach((corner, n) => {
        const spot = handle(drawing, corner, this.corner === n ? "corner chosen" : "corner", `corner-${n}`);
        spot.setAttribute("tabindex", "0");
        spot.setAttribute("role", "button");
        spot.setAttribute("aria-label", `Corner ${n + 1} of ${outline.length}, ${showPlace(corner, this.units)}`);
        parts.push(spot);
      });
    } else if (thing.of === "crown") {
      const rim = [thing.center[0] + thing.radius_m, thing.center[1]];
      parts.push(node("path", { d: outlinePath([thing.center, rim], false), class: "radius" }), drawing.label([rim[0] + drawing.meters(50), rim[1]], showLength(thing.radius_m, this.units), "length"));
      const spot = handle(drawing, rim, "corner", "rim");
      spot.setAttribute("tabindex", "0");
      spot.setAttribute("role", "button");
      spot.setAttribute("aria-label", `Rim, ${showLength(thing.radius_m, this.units)} from the trunk`);
      parts.push(spot);
    }
    return parts;
  }

  draftParts() {
    const { drawing } = this;
    const parts = [];
    const { shape } = this.data.kinds[this.mode];
    if (this.draft?.rectangle) {
      parts.push(node("path", { d: outlinePath(this.draft.rectangle), class: "draft" }), ...drawing.sides(this.draft.rectangle, true));
      if (this.roomy(this.draft.rectangle)) parts.push(drawing.label(anchorOf({ outline: this.draft.rectangle }), showArea(area(this.draft.rectangle), this.units), "length"));
    } else if (this.draft && shape === "circle") {
      const [center, at] = [this.draft.points[0], this.draft.at];
      const radius = distance(center, at);
      if (radius > 0) {
        parts.push(node("g", { transform: `translate(${center[0] * 100} ${-center[1] * 100})` }, node("path", { d: crownPath(radius, false), class: "draft" })));
        parts.push(node("path", { d: outlinePath([center, at], false), class: "radius" }), drawing.label([at[0] + drawing.meters(at[0] < center[0] ? -44 : 44), at[1]], showLength(radius, this.units), "length"));
      }
      parts.push(handle(drawing, center, "set"));
    } else if (this.draft) {
      const line = [...this.draft.points, ...(distance(this.draft.points.at(-1), this.draft.at) > 0 ? [this.draft.at] : [])];
      parts.push(node("path", { d: outlinePath(line, line.length > 2), class: "draft" }), ...drawing.sides(line, false));
      if (line.length > 2 && this.roomy(line)) parts.push(drawing.label(anchorOf({ outline: line }), showArea(area(line), this.units), "length"));
      this.draft.points.forEach((point, n) => parts.push(handle(drawing, point, n ? "set" : "set first")));
    }
    if (this.cursor) {
      parts.push(node("g", { class: "crosshair", transform: `translate(${this.cursor[0] * 100} ${-this.cursor[1] * 100}) scale(${1 / drawing.view.scale})` }, node("path", { d: "M-22 0H-5M5 0H22M0 -22V-5M0 5V22" })));
    }
    return parts;
  }
}

const round = (value) => Math.round(value * 1000) / 1000;

// A copy of a built mushroom bed is a plan.
const planned = (thing) => (thing.of === "patch" ? { ...thing, stage: "planned", built_on: null } : thing);

// A mushroom bed's area follows its outline, here as in the book.
function settled(thing) {
  return thing?.of === "patch" && thing.outline.length >= 3 ? { ...thing, area_m2: area(thing.outline) } : thing;
}

// Why the book would refuse a shape, in the words it would use.
export function fault(thing) {
  if (thing.outline?.length) {
    const sides = crossingSides(thing.outline);
    if (sides) return `${thing.name}: its side ${sides[0]} crosses its side ${sides[1]}, like a bow tie.`;
    if (area(thing.outline) < 1e-6) return `${thing.name}: its corners enclose no area.`;
  }
  return pointsOf(thing).some((point) => point.some((v) => Math.abs(v) > 2000)) ? `${thing.name} lies off the plan.` : "";
}

function handle(drawing, at, className, name = null) {
  const group = node("g", { class: `handle ${className}`, transform: `translate(${at[0] * 100} ${-at[1] * 100}) scale(${1 / drawing.view.scale})` });
  if (name) {
    group.dataset.handle = name;
    group.append(node("circle", { r: 23, class: "hit" }));
  }
  group.append(className.startsWith("between") ? node("path", { d: "M-6 0H6M0 -6V6" }) : node("circle", { r: className.includes("chosen") ? 10 : 8 }));
  return group;
}

function ghost(thing, className) {
  if (thing.outline) return node("path", { d: outlinePath(thing.outline), class: className });
  const [x, y] = thing.center ?? thing.point;
  const d = thing.of === "crown" ? crownPath(thing.radius_m, thing.evergreen) : "M-12 0H12M0 -12V12";
  return node("g", { transform: `translate(${x * 100} ${-y * 100})` }, node("path", { d, class: className }));
}

async function wake() {
  const root = document.querySelector("[data-plan]");
  if (!root) return;
  const data = await (await fetch("/ground/plan.json", { cache: "no-store" })).json();
  const plan = new Plan(root, data);
  root.classList.add("awake");
  for (const hidden of root.querySelectorAll("[data-awake]")) hidden.hidden = false;
  const snap = plan.find("snap");
  snap.replaceChildren(...gridSteps(plan.units).map((step) => new Option(`Snap: ${showLength(step, plan.units)}`, step)), new Option("Snap: off", "off"));
  snap.selectedIndex = 1;
  plan.takeIn(data);
  plan.drawing.measure();
  plan.drawing.fit(plan.things.size ? [...plan.things.values()].filter((thing) => anchorOf(thing)) : []);
  plan.refresh();
  new ResizeObserver(() => {
    plan.drawing.covered = null;
    plan.drawing.measure();
  }).observe(plan.drawing.svg);
  const follow = () => {
    const box = plan.drawing.svg.getBoundingClientRect();
    [plan.drawing.left, plan.drawing.top] = [box.left, box.top];
  };
  addEventListener("scroll", follow, { passive: true });
  wakeButtons(plan);
  wakePointers(plan);
  wakeKeys(plan);
  wakeSheet(plan, wide);
  wakeBackdrop(plan);
  for (const item of plan.saver.left()) {
    for (const act of item.acts) {
      plan.put(act.id, act.after);
      plan.set(plan.base, act.id, act.after);
    }
    plan.saver.queue.push(item);
  }
  if (plan.saver.queue.length) plan.saver.pump();
  else plan.status("Saves by itself", "good");
  addEventListener("focus", () => plan.lookAgain());
  document.addEventListener("visibilitychange", () => document.hidden || plan.lookAgain());
  plan.refresh();
  root.dataset.ready = "true";
}

function wakeButtons(plan) {
  const on = (name, act) => plan.find(name).addEventListener("click", act);
  for (const button of plan.root.querySelectorAll("[data-mode]")) {
    button.addEventListener("click", () => {
      plan.setMode(button.dataset.mode);
      plan.drawing.svg.focus({ preventScroll: true });
    });
  }
  on("undo", () => plan.undo());
  on("redo", () => plan.redo());
  on("closer", () => plan.drawing.zoom(1.4));
  on("farther", () => plan.drawing.zoom(1 / 1.4));
  on("whole", () => plan.drawing.fit([...plan.things.values()].filter((thing) => anchorOf(thing))));
  on("finish", () => plan.finishOutline());
  on("back-corner", () => plan.takeBackCorner());
  on("cancel", () => plan.setMode("choose"));
  on("copy", () => plan.duplicate());
  on("remove", () => plan.remove());
  on("details", () => plan.openForm?.());
  on("add-corner", () => {
    const { outline } = plan.selectedThing();
    const longest = outline.map((corner, n) => distance(corner, outline[(n + 1) % outline.length]));
    plan.addCorner(plan.corner ?? longest.indexOf(Math.max(...longest)));
  });
  on("remove-corner", () => plan.removeCorner(plan.corner));
}

wake();
