// The what-if while one types: ask a moment after the last change, show the latest answer only, and put each
// message beside its field. Steps with the buttons or the arrow keys keep the unit that stands in the field.
const PAUSE_MS = 220;

export function wakeWhatIf() {
  for (const form of document.querySelectorAll("form.what-if:not([data-awake])")) {
    form.dataset.awake = "true";
    new WhatIf(form);
  }
}

class WhatIf {
  constructor(form) {
    this.form = form;
    this.place = form.querySelector("[data-comparison]");
    this.spoken = form.querySelector("[data-spoken]");
    this.timer = 0;
    this.asking = false;
    this.again = false;
    for (const stepper of form.querySelectorAll(".stepper[data-step]")) addSteps(stepper);
    form.addEventListener("input", (event) => this.changed(event));
    form.addEventListener("submit", (event) => {
      if (event.submitter?.formMethod === "post") return;
      event.preventDefault();
      this.ask();
    });
    this.showWhatApplies();
  }

  changed(event) {
    if (event.target.dataset.keep !== undefined) return;
    this.form.dataset.touched = "true";
    this.showWhatApplies();
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.ask(), PAUSE_MS);
  }

  // One request at a time; changes that come meanwhile make one more afterwards, so the latest always wins.
  async ask() {
    clearTimeout(this.timer);
    if (this.asking) {
      this.again = true;
      return;
    }
    this.asking = true;
    this.form.setAttribute("aria-busy", "true");
    try {
      do {
        this.again = false;
        const query = new URLSearchParams(new FormData(this.form));
        const answer = await fetch(`${this.form.dataset.answers}?${query}`);
        if (!answer.ok) throw new Error(String(answer.status));
        const comparison = await answer.json();
        if (!this.again) this.show(comparison);
      } while (this.again);
    } catch {
      this.spoken.textContent = "";
      this.place.replaceChildren(sentence("The program did not answer. Is it still running? Change something to ask again."));
    } finally {
      this.asking = false;
      this.form.removeAttribute("aria-busy");
    }
  }

  show({ html, errors, summary }) {
    for (const message of this.form.querySelectorAll("[data-fault]")) {
      const words = errors[message.dataset.fault] ?? "";
      message.textContent = words;
      message.hidden = !words;
      const input = this.form.elements.namedItem(message.dataset.fault);
      if (input instanceof Element) {
        if (words) input.setAttribute("aria-invalid", "true");
        else input.removeAttribute("aria-invalid");
      }
    }
    if (html) {
      // Our own server's markup, written by a template that escapes; the policy allows no script in it anyway.
      const page = new DOMParser().parseFromString(html, "text/html");
      this.place.replaceChildren(...page.body.childNodes);
    }
    this.place.classList.toggle("stale", !html);
    this.spoken.textContent = `What if: ${summary}`;
    this.form.dataset.answered_at = String(Date.now());
  }

  showWhatApplies() {
    const spawn = this.form.elements.namedItem("spawn");
    const points = spawn.selectedOptions[0]?.dataset.arrangement === "points";
    const dry = this.form.elements.namedItem("rule").value === "when_dry";
    const shown = { rate: !points, pegs: points, below: dry, each: dry, rest: dry };
    for (const [name, wanted] of Object.entries(shown)) {
      const field = this.form.querySelector(`[data-field="${name}"]`);
      if (field) field.hidden = !wanted;
    }
  }
}

function sentence(words) {
  const p = document.createElement("p");
  p.className = "fault";
  p.textContent = words;
  return p;
}

function addSteps(stepper) {
  const input = stepper.querySelector("input");
  const name = input.labels[0]?.textContent.trim() ?? "";
  const less = stepButton("−", `Less: ${name}`, () => step(input, -1, stepper.dataset.step));
  const more = stepButton("+", `More: ${name}`, () => step(input, 1, stepper.dataset.step));
  stepper.prepend(less);
  stepper.append(more);
  stepper.classList.add("stepped");
  input.addEventListener("keydown", (event) => {
    if (event.key !== "ArrowUp" && event.key !== "ArrowDown") return;
    event.preventDefault();
    step(input, event.key === "ArrowUp" ? 1 : -1, stepper.dataset.step);
  });
}

function stepButton(sign, label, act) {
  const button = document.createElement("button");
  button.type = "button";
  button.textContent = sign;
  button.setAttribute("aria-label", label);
  button.addEventListener("click", act);
  return button;
}

const VULGAR = { "¼": 0.25, "½": 0.5, "¾": 0.75, "⅛": 0.125, "⅜": 0.375, "⅝": 0.625, "⅞": 0.875 };

// "4 cm" one step up is "5 cm"; "1½ in" is "2 in". What is not one number with a unit is left to the typist.
function step(input, direction, stepText) {
  const size = Number(stepText);
  const found = /^\s*(\d*[.,]?\d*)\s*([¼½¾⅛⅜⅝⅞]?)\s*(\D*)$/.exec(input.value);
  if (!found) return;
  const value = Number(found[1].replace(",", ".") || 0) + (VULGAR[found[2]] ?? 0);
  const unit = found[3].trim();
  const next = Math.max(0, Math.round(((Math.floor(value / size + (direction > 0 ? 1e-6 : -1e-6 + 1)) + direction) * size) * 1000) / 1000);
  input.value = unit ? `${next} ${unit}` : String(next);
  input.dispatchEvent(new Event("input", { bubbles: true }));
}
