// The plan by keyboard alone: Tab goes through the objects and their corners, arrows move, Enter opens the form;
// while drawing, arrows carry a cross and Enter sets a corner.
import { FOOT_M, INCH_M } from "../shared/units.mjs";
import { add } from "./geometry.mjs";

// Fine and coarse steps, in meters: 10 cm and 1 m, or 4 inches and 3 feet.
const STEPS_M = { metric: [0.1, 1], us: [4 * INCH_M, 3 * FOOT_M] };
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };

export function wakeKeys(plan) {
  const { svg } = plan.drawing;
  const [fine, coarse] = STEPS_M[plan.units];

  svg.addEventListener("focusin", (event) => {
    const id = event.target.closest?.("[data-id]")?.dataset.id;
    const handle = event.target.closest?.("[data-handle]")?.dataset.handle;
    if (handle?.startsWith("corner")) plan.corner = Number(handle.split("-")[1]);
    else if (id && id !== plan.selected && plan.mode === "choose") {
      plan.select(id);
      intoView(id);
    } else if (id) plan.corner = null;
    else if (event.target === svg && plan.mode === "choose") plan.corner = null;
    // Only the chosen corner's button changes; drawing all anew would take the focus away.
    plan.show("remove-corner", Boolean(plan.selectedThing()?.outline?.length) && plan.corner !== null);
  });

  // The corners of what is chosen lie above everything else in the drawing, but come right after it by Tab.
  function tab(event) {
    const handles = [...plan.drawing.overlay.querySelectorAll("[data-handle][tabindex]")];
    const things = [...svg.querySelectorAll("[data-id]")];
    const at = things.findIndex((thing) => thing.dataset.id === plan.selected);
    const here = handles.indexOf(document.activeElement);
    let next = null;
    if (!event.shiftKey && here < 0 && document.activeElement === things[at]) next = handles[0];
    else if (here >= 0 && event.shiftKey && here === 0) next = things[at];
    else if (here >= 0 && !event.shiftKey && here === handles.length - 1) next = things[at + 1];
    if (!next) return;
    event.preventDefault();
    next.focus({ preventScroll: true });
  }

  // What is chosen by Tab must be seen.
  function intoView(id) {
    const box = plan.drawing.shown.get(id)?.group.getBoundingClientRect();
    const { left, top, width, height, view } = plan.drawing;
    if (!box || (box.right > left + 30 && box.left < left + width - 30 && box.bottom > top + 30 && box.top < top + height - 30)) return;
    plan.drawing.setView({ ...view, x: view.x + left + width / 2 - (box.left + box.right) / 2, y: view.y + top + height / 2 - (box.top + box.bottom) / 2 });
  }

  svg.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.key === "Tab") {
      tab(event);
      return;
    }
    const arrow = ARROWS[event.key];
    if (arrow) {
      event.preventDefault();
      step(arrow.map((v) => v * (event.shiftKey ? coarse : fine)));
    } else if (event.key === "+" || event.key === "=") plan.drawing.zoom(1.25);
    else if (event.key === "-") plan.drawing.zoom(0.8);
    else if (event.key === "Escape") {
      if (plan.picking) plan.stopPicking();
      else if (plan.draft) plan.cancelDraft();
      else if (plan.mode !== "choose") plan.setMode("choose");
      else {
        plan.select(null);
        svg.focus({ preventScroll: true });
      }
    } else if (event.key === "Enter" || event.key === " ") {
      event.preventDefault();
      if (plan.mode !== "choose") setHere();
      else if (plan.selected) plan.openForm?.();
    } else if (event.key === "Delete" || event.key === "Backspace") {
      event.preventDefault();
      if (plan.mode !== "choose") plan.takeBackCorner();
      else if (plan.corner !== null) plan.removeCorner(plan.corner);
      else plan.remove();
    }
  });

  function step(by) {
    if (plan.mode !== "choose") {
      plan.cursor = add(plan.cursor ?? middleOfView(), by).map((v) => Math.round(v * 1e4) / 1e4);
      if (plan.draft) plan.draft.at = plan.cursor;
      keepInSight(plan.cursor);
      plan.drawOverlay();
      return;
    }
    const handle = document.activeElement?.dataset?.handle;
    const thing = plan.selectedThing();
    if (!thing) {
      const { view } = plan.drawing;
      plan.drawing.setView({ ...view, x: view.x - Math.sign(by[0]) * 60, y: view.y + Math.sign(by[1]) * 60 });
    } else if (handle?.startsWith("corner")) {
      const n = Number(handle.split("-")[1]);
      plan.moveCorner(n, add(thing.outline[n], by));
    } else if (handle === "rim") {
      const radius_m = Math.round(Math.min(40, Math.max(0.05, thing.radius_m + by[0] + by[1])) * 1e4) / 1e4;
      plan.commit(`${thing.name} reshaped`, [[plan.selected, { ...thing, radius_m }]]);
    } else plan.moveBy(by);
  }

  function middleOfView() {
    const { left, top, width, height } = plan.drawing;
    return plan.drawing.toWorld(left + width / 2, top + height / 2).map((v) => Math.round(v * 10) / 10);
  }

  function keepInSight(point) {
    const [x, y] = plan.drawing.toScreen(point);
    const { width, height, view } = plan.drawing;
    const dx = x < 40 ? 40 - x : x > width - 40 ? width - 40 - x : 0;
    const dy = y < 40 ? 40 - y : y > height - 40 ? height - 40 - y : 0;
    if (dx || dy) plan.drawing.setView({ ...view, x: view.x + dx, y: view.y + dy });
  }

  function setHere() {
    plan.cursor ??= middleOfView();
    plan.setPoint(plan.cursor);
  }

  // Undo and redo work wherever the focus is, but for a field in which one types.
  document.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
    if (event.target.closest?.("input, select, textarea")) return;
    const key = event.key.toLowerCase();
    if (key !== "z" && key !== "y") return;
    event.preventDefault();
    if (key === "y" || event.shiftKey) plan.redo();
    else plan.undo();
  });
}
