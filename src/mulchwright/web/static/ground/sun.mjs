// Sun and shade: another month without loading the page, the map read off under the finger or by arrow keys, and
// the slider through the hours.
import { wakeShadows } from "./shadows.mjs";

const SVG = "http://www.w3.org/2000/svg";
const KINDS = { hours: "hours of direct sun a day", share: "of the open sky's light" };

function wakeMap() {
  const card = document.querySelector("[data-light]");
  if (!card || card.dataset.live) return;
  card.dataset.live = "yes";
  const links = [...card.querySelectorAll("[data-month]")];
  const show = card.dataset.show;
  const readOut = card.querySelector("[data-read-out]");
  const drawings = [...card.querySelectorAll("svg.light-map")];
  const figures = new Map();
  let month = Number(links.find((link) => link.hasAttribute("aria-current")).dataset.month);
  let at = null;

  function choose(next, link) {
    month = next;
    for (const each of links) each.toggleAttribute("aria-current", false);
    link.setAttribute("aria-current", "true");
    card.querySelector("[data-answer]").textContent = link.dataset.answerOf;
    const name = link.getAttribute("aria-label");
    const kind = card.querySelector(".choices [aria-current]").textContent;
    card.querySelector("[data-caption]").textContent = `${kind} in ${name}, dark to light`;
    for (const svg of drawings) {
      svg.querySelector("image").setAttribute("href", `/ground/sun/map.png?month=${month}&show=${show}&of=${card.dataset.key}`);
      svg.querySelector("title").textContent = `${kind} in ${name}`;
    }
    for (const other of card.querySelectorAll(".choices:not(.months) a")) {
      other.href = other.getAttribute("href").replace(/month=\d+/, `month=${month}`);
    }
    history.replaceState(null, "", link.getAttribute("href"));
    if (at) read();
  }

  for (const link of links) {
    link.addEventListener("click", (event) => {
      if (event.metaKey || event.ctrlKey || event.shiftKey) return;
      event.preventDefault();
      choose(Number(link.dataset.month), link);
    });
  }

  async function cells() {
    if (!figures.has(month)) {
      const address = `/ground/sun/cells.json?month=${month}&show=${show}&of=${card.dataset.key}`;
      figures.set(month, fetch(address).then((answer) => answer.json()));
    }
    return figures.get(month);
  }

  async function read() {
    const map = await cells();
    const column = Math.floor((at[0] - map.x_min) / map.cell);
    const row = Math.floor((at[1] - map.y_min) / map.cell);
    const inside = column >= 0 && row >= 0 && column < map.columns && row < map.rows;
    const value = inside ? map.values[row * map.columns + column] : null;
    const name = links.find((link) => Number(link.dataset.month) === month).getAttribute("aria-label");
    readOut.hidden = false;
    readOut.textContent = value === null ? "Off the map."
      : value < 0 ? "Under a building."
      : show === "hours" ? `Here in ${name}: ${(value / map.per).toFixed(1)} ${KINDS.hours}.`
      : `Here in ${name}: ${value} % ${KINDS.share}.`;
    for (const svg of drawings) mark(svg);
  }

  function mark(svg) {
    const world = svg.querySelector("g.world:not(.halo)");
    let cross = svg.querySelector(".map-cross");
    if (!cross) {
      for (const name of ["map-cross-halo", "map-cross"]) {
        const path = document.createElementNS(SVG, "path");
        path.setAttribute("class", name);
        path.setAttribute("d", "M-14 0H-4M4 0H14M0 -14V-4M0 4V14");
        svg.append(path);
      }
      cross = svg.querySelector(".map-cross");
    }
    const point = new DOMPoint(at[0] * 100, -at[1] * 100).matrixTransform(world.transform.baseVal.consolidate().matrix);
    for (const path of svg.querySelectorAll(".map-cross, .map-cross-halo")) {
      path.setAttribute("transform", `translate(${point.x.toFixed(1)} ${point.y.toFixed(1)})`);
    }
  }

  for (const svg of drawings) {
    const world = svg.querySelector("g.world:not(.halo)");
    const place = (event) => {
      const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(world.getScreenCTM().inverse());
      at = [point.x / 100, -point.y / 100];
      read();
    };
    svg.addEventListener("pointerdown", place);
    svg.addEventListener("pointermove", (event) => { if (event.pointerType === "mouse" && event.buttons === 1) place(event); });
    svg.setAttribute("tabindex", "0");
    svg.addEventListener("keydown", (event) => {
      const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] }[event.key];
      if (!step) return;
      event.preventDefault();
      if (!at) {
        const box = svg.querySelector("image").getBBox();
        const middle = new DOMPoint(box.x + box.width / 2, box.y + box.height / 2)
          .matrixTransform(world.transform.baseVal.consolidate().matrix.inverse());
        at = [middle.x / 100, -middle.y / 100];
      }
      const far = event.shiftKey ? 1 : 0.25;
      at = [at[0] + step[0] * far, at[1] + step[1] * far];
      read();
    });
  }
  readOut.hidden = false;
  readOut.textContent = "Tap the map, or move over it with the arrow keys, to read a figure.";
}

function wake() {
  document.documentElement.classList.add("awake");
  wakeMap();
  wakeShadows();
}

document.addEventListener("mulchwright:fresh", wake);
wake();
