// Mouse, pen and fingers. One finger or the left button does what the mode says; two fingers always move and
// scale the view; a long press opens the form. What is dragged is a preview until it is let go.
import { distance, rectangle, shifted, subtract, tidy } from "./geometry.mjs";

const START_PX = { mouse: 3, pen: 5, touch: 9 };
const LONG_PRESS_MS = 550;

export function wakePointers(plan) {
  const { drawing } = plan;
  const { svg } = drawing;
  const pointers = new Map();
  let gesture = null;
  let frame = 0;
  let waiting = null;

  const at = (event) => drawing.toWorld(event.clientX, event.clientY);

  // At most one redraw a frame, with the latest pointer.
  function soon(work) {
    waiting = work;
    if (frame) return;
    frame = requestAnimationFrame(() => {
      frame = 0;
      const now = waiting;
      waiting = null;
      now?.();
    });
  }

  function flush() {
    cancelAnimationFrame(frame);
    frame = 0;
    const now = waiting;
    waiting = null;
    now?.();
  }

  svg.addEventListener("pointerdown", (event) => {
    if (event.pointerType === "mouse" && event.button > 1) return;
    svg.setPointerCapture(event.pointerId);
    pointers.set(event.pointerId, event);
    if (pointers.size === 2) return beginPinch();
    if (pointers.size > 2) return undefined;
    begin(event);
    return undefined;
  });

  function begin(event) {
    const target = event.target;
    const handleName = target.closest?.("[data-handle]")?.dataset.handle ?? null;
    const id = target.closest?.("[data-id]")?.dataset.id ?? null;
    gesture = { start: event, kind: "waiting", handleName, id, from: at(event), view: { ...drawing.view } };
    if (plan.picking) gesture.pick = true;
    if (event.pointerType !== "mouse" && plan.mode === "choose" && id && !handleName) {
      gesture.timer = setTimeout(() => {
        if (gesture?.kind !== "waiting") return;
        gesture.kind = "over";
        plan.select(id, { focus: true });
        plan.openForm?.();
      }, LONG_PRESS_MS);
    }
    if (event.button === 1) gesture.kind = "pan";
  }

  svg.addEventListener("pointermove", (event) => {
    if (pointers.has(event.pointerId)) pointers.set(event.pointerId, event);
    if (!gesture) return hover(event);
    if (gesture.kind === "pinch") return soon(pinch);
    if (gesture.kind === "over") return undefined;
    if (gesture.kind === "waiting") {
      const far = Math.hypot(event.clientX - gesture.start.clientX, event.clientY - gesture.start.clientY);
      if (far < START_PX[event.pointerType]) return undefined;
      clearTimeout(gesture.timer);
      gesture.kind = dragKind(event);
      if (gesture.kind === "move" || gesture.kind === "handle") {
        if (gesture.id && gesture.kind === "move") plan.select(gesture.id, { focus: true });
        gesture.thing = plan.selectedThing();
      }
    }
    const latest = event;
    return soon(() => gesture && drag(latest));
  });

  function dragKind(event) {
    if (gesture.pick) return "pan";
    if (plan.mode !== "choose") return plan.data.kinds[plan.mode].shape === "point" ? "pan" : plan.draft && plan.data.kinds[plan.mode].shape === "outline" ? "aim" : "draw";
    if (gesture.handleName) return "handle";
    // A finger that slides over the plan means to look around, unless it began on what is chosen.
    if (gesture.id && (event.pointerType === "mouse" || gesture.id === plan.selected)) return "move";
    return "pan";
  }

  function drag(event) {
    const now = at(event);
    const free = event.altKey;
    if (gesture.kind === "pan") {
      const { view, start } = gesture;
      drawing.setView({ ...view, x: view.x + event.clientX - start.clientX, y: view.y + event.clientY - start.clientY });
    } else if (gesture.kind === "move") {
      plan.preview = moved(gesture.thing, subtract(now, gesture.from), free);
      plan.drawOverlay();
    } else if (gesture.kind === "handle") {
      plan.preview = reshaped(gesture.thing, now, free);
      plan.drawOverlay();
    } else if (gesture.kind === "draw") {
      drawShape(now, free);
      plan.drawOverlay();
    } else if (gesture.kind === "aim") {
      aim(now, free);
    }
  }

  function moved(thing, by, free) {
    const raw = shifted(thing, by);
    if (free || plan.find("snap").value === "off") return raw;
    const points = raw.outline ?? [raw.center ?? raw.point];
    let best = null;
    if (raw.outline) {
      for (const point of points) {
        const hit = plan.snap(point, { but: plan.selected });
        if (hit.to !== "corner") continue;
        const far = distance(hit.point, point);
        if (!best || far < best.far) best = { far, by: subtract(hit.point, point) };
      }
    }
    if (best) return shifted(raw, best.by);
    const step = plan.step_m();
    const [x, y] = points[0];
    return shifted(raw, [Math.round(x / step) * step - x, Math.round(y / step) * step - y]);
  }

  function reshaped(thing, now, free) {
    if (gesture.handleName === "rim") {
      const step = free || plan.find("snap").value === "off" ? 0 : plan.step_m();
      const far = distance(thing.center, now);
      return { ...thing, radius_m: Math.min(40, Math.max(0.05, step ? Math.round(far / step) * step : tidy([far, 0])[0])) };
    }
    const n = Number(gesture.handleName.split("-")[1]);
    const between = gesture.handleName.startsWith("between");
    const { outline } = thing;
    const before = outline.at(between ? n : n - 1), after = outline[(n + 1) % outline.length];
    const hit = plan.snap(now, { but: plan.selected, from: before, first: after, free });
    return { ...thing, outline: between ? outline.toSpliced(n + 1, 0, hit.point) : outline.with(n, hit.point) };
  }

  function drawShape(now, free) {
    const { shape } = plan.data.kinds[plan.mode];
    const first = gesture.first ?? (gesture.first = plan.snap(gesture.from, { free }).point);
    if (shape === "circle") {
      const step = free ? 0 : plan.step_m() || 0;
      const far = distance(first, now);
      const radius = step ? Math.max(step, Math.round(far / step) * step) : far;
      const rim = far ? [first[0] + ((now[0] - first[0]) / far) * radius, first[1] + ((now[1] - first[1]) / far) * radius] : now;
      plan.draft = { points: [first], at: tidy(rim) };
    } else {
      plan.draft = { points: [], at: now, rectangle: rectangle(first, plan.snap(now, { free }).point) };
    }
  }

  // The line from the last corner follows the pointer.
  function aim(now, free) {
    const points = plan.draft.points;
    plan.draft.at = plan.snap(now, { from: points.at(-1), before: points.at(-2), first: points[0], free }).point;
    plan.drawOverlay();
  }

  function hover(event) {
    if (!plan.draft || event.pointerType !== "mouse") return;
    soon(() => plan.draft && aim(drawing.toWorld(event.clientX, event.clientY), event.altKey));
  }

  svg.addEventListener("pointerup", (event) => {
    const last = pointers.delete(event.pointerId);
    if (!last || !gesture) return;
    clearTimeout(gesture.timer);
    flush();
    const ended = gesture;
    if (ended.kind === "pinch") {
      if (!pointers.size) gesture = null;
      return;
    }
    gesture = null;
    if (ended.kind === "waiting") return tap(ended, event);
    if (ended.kind === "move" || ended.kind === "handle") {
      const shape = plan.preview;
      plan.preview = null;
      if (shape) plan.commit(`${shape.name} ${ended.kind === "move" ? "moved" : "reshaped"}`, [[plan.selected, shape]]);
      if (ended.handleName?.startsWith("corner")) plan.corner = Number(ended.handleName.split("-")[1]);
      plan.refresh();
    } else if (ended.kind === "draw") {
      const { draft } = plan;
      if (draft?.rectangle) {
        plan.draft = null;
        plan.finish({ outline: draft.rectangle });
      } else if (draft) plan.setPoint(draft.at);
      plan.refresh();
    } else if (ended.kind === "aim") {
      plan.setPoint(plan.draft.at);
    }
    return undefined;
  });

  svg.addEventListener("pointercancel", (event) => {
    pointers.delete(event.pointerId);
    clearTimeout(gesture?.timer);
    gesture = null;
    waiting = null;
    plan.preview = null;
    plan.refresh();
  });

  function tap(ended, event) {
    const point = at(event);
    if (ended.pick) return plan.pick(point);
    if (plan.mode !== "choose") {
      const points = plan.draft?.points ?? [];
      plan.cursor = null;
      return plan.setPoint(plan.snap(point, { from: points.at(-1), before: points.at(-2), first: points[0], free: event.altKey }).point);
    }
    if (ended.handleName?.startsWith("between")) return plan.addCorner(Number(ended.handleName.split("-")[1]));
    if (ended.handleName?.startsWith("corner")) {
      const n = Number(ended.handleName.split("-")[1]);
      plan.corner = plan.corner === n ? null : n;
      return plan.refresh();
    }
    return plan.select(ended.id, { focus: Boolean(ended.id) });
  }

  // ---- two fingers ----

  function beginPinch() {
    clearTimeout(gesture?.timer);
    // What the first finger had begun is not meant.
    plan.preview = null;
    if (gesture?.kind === "draw") plan.draft = null;
    waiting = null;
    const [a, b] = [...pointers.values()];
    gesture = { kind: "pinch", view: { ...drawing.view }, a, b };
    plan.refresh();
  }

  function pinch() {
    if (pointers.size < 2 || gesture?.kind !== "pinch") return;
    const [a, b] = [...pointers.values()];
    const { view, a: a0, b: b0 } = gesture;
    const spread = (p, q) => Math.max(10, Math.hypot(p.clientX - q.clientX, p.clientY - q.clientY));
    const scale = Math.min(20, Math.max(0.01, (view.scale * spread(a, b)) / spread(a0, b0)));
    const ratio = scale / view.scale;
    const [mx0, my0] = [(a0.clientX + b0.clientX) / 2 - drawing.left, (a0.clientY + b0.clientY) / 2 - drawing.top];
    const [mx, my] = [(a.clientX + b.clientX) / 2 - drawing.left, (a.clientY + b.clientY) / 2 - drawing.top];
    drawing.setView({ scale, x: mx - (mx0 - view.x) * ratio, y: my - (my0 - view.y) * ratio });
  }

  svg.addEventListener("wheel", (event) => {
    event.preventDefault();
    const lines = event.deltaMode === 1 ? 24 : 1;
    const turn = Math.max(-240, Math.min(240, event.deltaY * lines));
    drawing.zoom(Math.exp(-turn * 0.0018), event.clientX, event.clientY);
  }, { passive: false });

  svg.addEventListener("contextmenu", (event) => event.preventDefault());
}
