// Charts: fetch a spec made for the width at hand, draw it as SVG, draw anew when width or scheme changes.
// The chart library is made on this machine at first start; until then the tables below say the same.
import { readable } from "./readings.mjs";

const RETRY_MS = 700;
const OPTIONS = {
  ast: true, // no code is made from text, so the strict content policy holds
  renderer: "svg",
  defaultStyle: false,
  actions: false,
  tooltip: false, // what a chart says is read off it in our own way, by keys too
};

let library = null;
const drawn = new WeakMap();

function loadLibrary() {
  library ??= (async () => {
    for (let i = 0; i < 120; i += 1) {
      const answer = await fetch("/charts.js", { method: "HEAD" });
      if (answer.ok) break;
      if (answer.status === 404) return null;
      await new Promise((resolve) => setTimeout(resolve, RETRY_MS));
    }
    await new Promise((resolve, reject) => {
      const script = document.createElement("script");
      script.src = "/charts.js";
      script.onload = resolve;
      script.onerror = reject;
      document.head.append(script);
    });
    return window.vegaEmbed;
  })();
  return library;
}

function scheme() {
  return matchMedia("(prefers-color-scheme: dark)").matches && !matchMedia("print").matches ? "dark" : "light";
}

// The width a figure has; in a section that is still shut, the width it will have once that is open, so that a chart
// is there at once when somebody opens it or prints the page.
function widthOf(figure) {
  if (!figure.isConnected) return 0; // its page was swapped for a newer one
  const fold = figure.closest("details.fold:not([open])");
  if (!fold) return Math.floor(figure.getBoundingClientRect().width);
  const body = getComputedStyle(figure.closest(".fold-body"));
  const edges = getComputedStyle(fold);
  const lost = [body.paddingLeft, body.paddingRight, edges.borderLeftWidth, edges.borderRightWidth];
  return Math.floor(fold.parentElement.getBoundingClientRect().width - lost.reduce((sum, each) => sum + parseFloat(each), 0));
}

async function draw(figure) {
  const plot = figure.querySelector(".plot");
  const width = widthOf(figure);
  const wanted = `${width} ${scheme()}`;
  if (!(width >= 50) || figure.dataset.drawn === wanted) return;
  figure.dataset.drawn = wanted;
  const [embed, answer] = await Promise.all([
    loadLibrary(),
    fetch(`${figure.dataset.chart}?width=${width}&scheme=${scheme()}`),
  ]);
  if (figure.dataset.drawn !== wanted) return; // a newer width came in between
  if (!embed || !answer.ok) {
    plot.classList.add("no-chart");
    return;
  }
  const spec = await answer.json();
  drawn.get(figure)?.finalize();
  const result = await embed(plot, spec, OPTIONS);
  drawn.set(figure, result);
  // The plot is one image with its own words; the marks inside are not for reading one by one.
  plot.querySelector("svg")?.setAttribute("aria-hidden", "true");
  const about = spec.usermeta;
  readable(figure, [plot], about.readings, () => {
    const box = plot.getBoundingClientRect();
    return box.width > 0 ? { left: box.left + result.view.origin()[0], width: about.width } : null;
  });
  figure.querySelector(".stand-in")?.remove();
  figure.dataset.ready = "true";
}

const later = new Map();
const watcher = new ResizeObserver((entries) => {
  for (const { target } of entries) {
    clearTimeout(later.get(target));
    later.set(target, setTimeout(() => draw(target), target.dataset.drawn ? 200 : 0));
  }
});

export function drawCharts() {
  for (const figure of document.querySelectorAll("figure[data-chart]")) {
    watcher.observe(figure);
    // A figure in a section that is shut has no size to be watched.
    if (figure.closest("details:not([open])")) requestIdleCallback(() => draw(figure));
    figure.closest("details.fold")?.addEventListener("toggle", () => draw(figure));
  }
}

matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
  for (const figure of document.querySelectorAll("figure[data-chart]")) draw(figure);
});
