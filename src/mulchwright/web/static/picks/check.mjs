// The check one step at a time: Back and Next open a step and close the others, and a step's head shows its answer.
// Without this module the same steps open and close by themselves, and the links jump to them.

const steps = [...document.querySelectorAll("details.step")];

function show(step, others = true) {
  if (others) for (const other of steps) if (other !== step) other.open = false;
  step.open = true;
  const head = step.querySelector("summary");
  head.focus({ preventScroll: true });
  const gentle = !matchMedia("(prefers-reduced-motion: reduce)").matches;
  head.scrollIntoView({ block: "start", behavior: gentle ? "smooth" : "auto" });
}

for (const step of steps) {
  step.querySelector("summary").addEventListener("click", () => {
    if (!step.open) for (const other of steps) if (other !== step) other.open = false;
  });
  const state = step.querySelector("[data-step-state]");
  for (const radio of step.querySelectorAll("input[type=radio]")) {
    radio.addEventListener("change", () => { state.textContent = radio.dataset.words; });
    if (radio.checked) state.textContent = radio.dataset.words;
  }
  for (const link of step.querySelectorAll(".next a")) {
    const target = document.querySelector(link.getAttribute("href"));
    if (!target?.matches("details.step")) continue;
    link.addEventListener("click", (event) => {
      event.preventDefault();
      show(target);
    });
  }
}
