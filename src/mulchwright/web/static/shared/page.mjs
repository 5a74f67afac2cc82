// What a page gains from scripts: it fills itself in when the calculation is done, draws its charts, and answers
// the what-if while one types. Without this module every page still says all it has to say.
import { drawCharts } from "./charts.mjs";
import { wakeReadings } from "./readings.mjs";
import { wakeWhatIf } from "../beds/what_if.mjs";

const POLL_MS = 350;

function wake() {
  drawCharts();
  wakeReadings();
  wakeWhatIf();
  openWhatIsLinked();
  document.dispatchEvent(new Event("mulchwright:fresh"));
}

// A link to "How this is worked out" should open it, not only jump to its closed head.
function openWhatIsLinked() {
  if (!location.hash) return;
  const target = document.getElementById(decodeURIComponent(location.hash.slice(1)));
  if (!target) return;
  let shut = false;
  for (let part = target; part; part = part.parentElement) {
    if (part instanceof HTMLDetailsElement && !part.open) shut = part.open = true;
  }
  if (shut) target.scrollIntoView();
}

// Paper shows every section; afterwards those that were shut are shut again. The style sheet does the same where
// it can, for pages without scripts.
let opened = [];
window.addEventListener("beforeprint", () => {
  opened = [...document.querySelectorAll("details.fold:not([open])")];
  for (const part of opened) part.open = true;
});
window.addEventListener("afterprint", () => {
  for (const part of opened) part.open = false;
});

async function waitForReckoning() {
  const main = document.querySelector("main[data-waiting]");
  if (!main) return;
  const bar = main.querySelector("progress");
  const said = main.querySelector(".waiting [data-words]");
  for (;;) {
    await new Promise((resolve) => setTimeout(resolve, POLL_MS));
    try {
      const state = await (await fetch(main.dataset.waiting, { cache: "no-store" })).json();
      if (bar) bar.value = state.share;
      if (said) said.textContent = state.words ?? said.dataset.words;
      if (!state.ready) continue;
      const page = new DOMParser().parseFromString(await (await fetch(location.href)).text(), "text/html");
      const fresh = page.querySelector("main");
      if (!fresh || fresh.dataset.waiting) continue;
      // Swapping must not throw away what somebody is typing: such a page keeps its form.
      const typing = main.querySelector("form.what-if[data-touched]");
      if (typing) fresh.querySelector("form.what-if")?.replaceWith(typing);
      // Nor fold away what somebody has opened to read.
      for (const open of main.querySelectorAll("details[open][id]")) {
        const again = fresh.querySelector(`#${CSS.escape(open.id)}`);
        if (again) again.open = true;
      }
      main.replaceChildren(...fresh.childNodes);
      delete main.dataset.waiting;
      wake();
      return;
    } catch {
      // The server was stopped or is busy; ask again.
    }
  }
}

window.addEventListener("hashchange", openWhatIsLinked);
wake();
waitForReckoning();
