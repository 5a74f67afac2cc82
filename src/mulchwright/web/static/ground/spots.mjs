// Spots on the siting map: dragged by mouse or finger, moved and turned by keys, typed in fields. Each new place is
// asked of the server, which tells expectations and findings; the card is put in place of the old one.

const WAIT_MS = 220;

function wake() {
  document.documentElement.classList.add("awake");
  const page = document.querySelector("[data-spots]");
  if (!page || page.dataset.live) return;
  page.dataset.live = "yes";
  const drawings = [...page.querySelectorAll("svg.site-map")];
  const rects = new Map();
  for (const card of page.querySelectorAll("[data-spot]")) {
    const n = Number(card.dataset.spot);
    rects.set(n, card.querySelector(`[name=s${n}]`).value.split(";").map(Number));
    wakeForm(card);
  }
  const timers = new Map();
  const asked = new Map();

  const asText = (n) => rects.get(n).map((v) => Number(v.toFixed(4))).join(";");

  // The outline as `Rect.outline` of the program has it, in the drawing's centimeters.
  function path(n) {
    const [x, y, width, length, turn] = rects.get(n);
    const angle = (-turn * Math.PI) / 180;
    const points = [[-1, -1], [1, -1], [1, 1], [-1, 1]].map(([u, v]) => [
      x + (u * width * Math.cos(angle) - v * length * Math.sin(angle)) / 2,
      y + (u * width * Math.sin(angle) + v * length * Math.cos(angle)) / 2,
    ]);
    return `M${points.map(([px, py]) => `${(px * 100).toFixed(1)} ${(-py * 100).toFixed(1)}`).join("L")}Z`;
  }

  function draw(n) {
    for (const svg of drawings) {
      const group = svg.querySelector(`[data-drag="${n}"]`);
      const d = path(n);
      for (const each of group.querySelectorAll("path")) each.setAttribute("d", d);
      const world = svg.querySelector("g.world:not(.halo)").transform.baseVal.consolidate().matrix;
      const [x, y] = rects.get(n);
      const at = new DOMPoint(x * 100, -y * 100).matrixTransform(world);
      const disc = group.querySelector("circle");
      disc.setAttribute("cx", at.x);
      disc.setAttribute("cy", at.y);
      const number = group.querySelector("text");
      number.setAttribute("x", at.x);
      number.setAttribute("y", at.y + 6);
    }
  }

  function query(card, extra = {}) {
    const form = card.querySelector("form");
    const fields = new URLSearchParams(new FormData(form));
    for (const n of rects.keys()) fields.set(`s${n}`, asText(n));
    for (const [name, value] of Object.entries(extra)) {
      if (value === null) fields.delete(name);
      else fields.set(name, value);
    }
    return fields;
  }

  // `typed`: the fields say the place; otherwise the rectangle does.
  async function ask(n, typed) {
    const card = page.querySelector(`[data-spot="${n}"]`);
    const places = typed ? {} : { x: null, y: null, width: null, length: null, turn: null };
    const turn = (asked.get(n) ?? 0) + 1;
    asked.set(n, turn);
    const answer = await fetch(`/ground/spots/one?${query(card, places)}`);
    if (!answer.ok || asked.get(n) !== turn) return;
    const data = await answer.json();
    rects.set(n, data.rect.split(";").map(Number));
    draw(n);
    const holder = document.createElement("template");
    holder.innerHTML = data.html;
    const fresh = holder.content.querySelector("[data-spot]");
    const name = card.querySelector("[name=name]").value;
    const focused = card.contains(document.activeElement) ? document.activeElement.id : "";
    fresh.querySelector("[name=name]").value = name;
    card.replaceWith(fresh);
    wakeForm(fresh);
    if (focused) document.getElementById(focused)?.focus();
    for (const other of page.querySelectorAll(`[name=s${n}]`)) other.value = asText(n);
    const address = query(fresh, { x: null, y: null, width: null, length: null, turn: null, n: null, name: null });
    history.replaceState(null, "", `/ground/spots?${address}`);
  }

  function soon(n) {
    clearTimeout(timers.get(n));
    timers.set(n, setTimeout(() => ask(n, false), WAIT_MS));
  }

  function wakeForm(card) {
    const form = card.querySelector("form");
    form.addEventListener("submit", (event) => {
      if (event.submitter?.formMethod === "post") {
        const n = Number(card.dataset.spot);
        form.querySelector(`[name=s${n}]`).value = asText(n);
        return;
      }
      event.preventDefault();
      ask(Number(card.dataset.spot), true);
    });
  }

  for (const svg of drawings) {
    // An image to a screen reader until here; now there is something in it to take hold of.
    svg.setAttribute("role", "group");
    const inverse = () => svg.querySelector("g.world:not(.halo)").getScreenCTM().inverse();
    for (const group of svg.querySelectorAll("[data-drag]")) {
      const n = Number(group.dataset.drag);
      group.setAttribute("tabindex", "0");
      group.setAttribute("role", "button");
      group.setAttribute("aria-label", `Spot ${n}: move it with the arrow keys`);
      let from = null;
      group.addEventListener("pointerdown", (event) => {
        event.preventDefault();
        group.focus();
        group.setPointerCapture(event.pointerId);
        group.classList.add("dragging");
        const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(inverse());
        from = [point.x / 100 - rects.get(n)[0], -point.y / 100 - rects.get(n)[1]];
      });
      group.addEventListener("pointermove", (event) => {
        if (!from) return;
        const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(inverse());
        const rect = rects.get(n);
        rects.set(n, [point.x / 100 - from[0], -point.y / 100 - from[1], ...rect.slice(2)]);
        draw(n);
        soon(n);
      });
      const drop = () => { from = null; group.classList.remove("dragging"); };
      group.addEventListener("pointerup", drop);
      group.addEventListener("pointercancel", drop);
      group.addEventListener("keydown", (event) => {
        const rect = [...rects.get(n)];
        const far = event.shiftKey ? 1 : 0.1;
        const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
        if (step) {
          rect[0] += step[0] * far;
          rect[1] += step[1] * far;
        } else if (event.key === "+" || event.key === "=") rect[4] = (rect[4] + 15) % 360;
        else if (event.key === "-") rect[4] = (rect[4] - 15) % 360;
        else if (event.key === "Enter") return void document.getElementById(`spot-${n}`).scrollIntoView();
        else return;
        event.preventDefault();
        rects.set(n, rect);
        draw(n);
        soon(n);
      });
    }
  }
}

document.addEventListener("mulchwright:fresh", wake);
wake();
