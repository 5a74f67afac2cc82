// Reading a chart off: a line under the pointer or finger and the day's figures in words beneath, stepped with the
// arrow keys as well. What is said comes from the server with the chart; nothing is measured off the picture here.
// The reader is a slider to assistive tools: its value text is what they speak, so the words beneath are not live.

const readers = new WeakMap();

// Charts the server drew: their readings stand in an attribute of the figure, the plot's edges on each drawing.
export function wakeReadings() {
  for (const figure of document.querySelectorAll("figure[data-readings]")) {
    if (readers.has(figure)) continue;
    const drawings = [...figure.querySelectorAll("svg[data-left]")];
    readable(figure, drawings, JSON.parse(figure.dataset.readings), () => {
      const shown = drawings.find((drawing) => drawing.getBoundingClientRect().width > 0);
      if (!shown) return null;
      const box = shown.getBoundingClientRect();
      const scale = box.width / shown.viewBox.baseVal.width;
      const left = box.left + shown.dataset.left * scale;
      return { left, width: (shown.dataset.right - shown.dataset.left) * scale };
    });
  }
}

// figure : gets a reader over its `parts`. items : [[place from 0 to 1, when, words], ...]. place() : where the plot is on
// the screen, {left, width}, or null while it is not shown. Called again, as a chart is drawn again, it only learns that.
export function readable(figure, parts, { items, start }, place) {
  const known = readers.get(figure);
  if (known) {
    known.place = place;
    known.draw();
  } else if (items.length) {
    readers.set(figure, new Reader(figure, parts, items, start, place));
  }
}

class Reader {
  constructor(figure, parts, items, start, place) {
    Object.assign(this, { items, place, at: Math.min(start, items.length - 1) });
    const room = document.createElement("div");
    room.className = "plot-room";
    parts[0].before(room);
    room.append(...parts);
    this.slider = document.createElement("div");
    this.slider.className = "reader";
    this.slider.tabIndex = 0;
    const about = { role: "slider", "aria-label": `${figure.dataset.name ?? "Chart"}: read off`, "aria-valuemin": 1, "aria-valuemax": items.length };
    for (const [name, value] of Object.entries(about)) this.slider.setAttribute(name, value);
    this.line = document.createElement("div");
    this.line.className = "reader-line";
    this.line.hidden = true;
    this.slider.append(this.line);
    room.append(this.slider);
    this.words = document.createElement("output");
    this.words.className = "reading-words";
    this.words.setAttribute("aria-live", "off");
    room.after(this.words);
    this.slider.addEventListener("keydown", (event) => this.key(event));
    for (const kind of ["pointermove", "pointerdown"]) this.slider.addEventListener(kind, (event) => this.point(event));
    for (const kind of ["focus", "pointerenter"]) this.slider.addEventListener(kind, () => this.show(true));
    for (const kind of ["blur", "pointerleave"]) this.slider.addEventListener(kind, () => this.show(document.activeElement === this.slider && kind !== "blur"));
    this.draw();
  }

  key(event) {
    const week = Math.max(1, Math.round(this.items.length / 12));
    const last = this.items.length - 1;
    const to = {
      ArrowRight: this.at + 1, ArrowUp: this.at + 1, ArrowLeft: this.at - 1, ArrowDown: this.at - 1,
      PageUp: this.at + week, PageDown: this.at - week, Home: 0, End: last,
    }[event.key];
    if (to === undefined || event.altKey || event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    this.go(Math.min(Math.max(to, 0), last));
  }

  point(event) {
    const plot = this.place();
    if (!plot) return;
    const wanted = (event.clientX - plot.left) / plot.width;
    let nearest = 0;
    this.items.forEach(([at], n) => {
      if (Math.abs(at - wanted) < Math.abs(this.items[nearest][0] - wanted)) nearest = n;
    });
    this.go(nearest);
  }

  go(n) {
    this.at = n;
    this.show(true);
    this.draw();
  }

  show(on) {
    this.line.hidden = !on;
    if (on) this.draw();
  }

  draw() {
    const [at, when, words] = this.items[this.at];
    const strong = document.createElement("strong");
    strong.textContent = when;
    this.words.replaceChildren(strong, `: ${words}`);
    this.slider.setAttribute("aria-valuenow", this.at + 1);
    this.slider.setAttribute("aria-valuetext", `${when}: ${words}`);
    const plot = this.place();
    if (plot) this.line.style.left = `${plot.left + at * plot.width - this.slider.getBoundingClientRect().left}px`;
  }
}
