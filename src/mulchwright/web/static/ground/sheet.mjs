// The form of what is chosen, as the server writes it, beside the plan or under it; saved when a field is left.
import { sizeWords } from "./drawing.mjs";
import { idOf } from "./main.mjs";

const PATIENCE_MS = 20000;

export function wakeSheet(plan, wide) {
  const sheet = plan.find("sheet");
  let open = null;
  let asked = 0;

  plan.onSelect = (id) => {
    if (wide.matches) show(id);
    else if (open && open !== id) show(null);
  };
  plan.onRefresh = () => list(plan);
  plan.find("list").addEventListener("click", (event) => {
    const id = event.target.closest("[data-choose]")?.dataset.choose;
    const draw = event.target.closest("[data-draw-for]")?.dataset.drawFor;
    if (draw) plan.drawFor(draw);
    if (!id || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    plan.setMode("choose");
    plan.select(id);
    show(id, { enter: true });
  });
  plan.openForm = () => show(plan.selected, { enter: true });
  plan.formOpen = () => open;

  async function show(id, { enter = false } = {}) {
    open = id;
    asked += 1;
    const mine = asked;
    if (!id) {
      sheet.replaceChildren();
      return;
    }
    if (!plan.base.has(id) || plan.saver.touches(id)) {
      await quiet();
      if (mine !== asked) return;
    }
    try {
      const response = await fetch(`/ground/${id}?part=form`, { cache: "no-store" });
      if (mine !== asked) return;
      if (!response.ok) throw new Error(String(response.status));
      const page = new DOMParser().parseFromString(await response.text(), "text/html");
      sheet.replaceChildren(...page.body.childNodes);
      wakeForm(id);
    } catch {
      sheet.replaceChildren(Object.assign(document.createElement("p"), { className: "quiet", textContent: "The form of this object cannot be had just now; it is there once the object is saved." }));
    }
    if (enter) {
      sheet.scrollIntoView({ block: "start" });
      sheet.querySelector("input:not([type=hidden])")?.focus();
    }
  }

  // Until everything drawn is in the book.
  async function quiet() {
    for (let n = 0; n < 60 && plan.saver.queue.length && !plan.saver.stopped; n += 1) await new Promise((done) => setTimeout(done, 50));
  }

  function wakeForm(id) {
    const form = sheet.querySelector("form.thing-form");
    if (!form) return;
    form.addEventListener("submit", (event) => {
      const way = event.submitter?.getAttribute("formaction");
      event.preventDefault();
      if (way?.endsWith("/copy")) plan.duplicate();
      else if (way?.endsWith("/remove")) plan.remove();
      else if (way?.endsWith("/off")) plan.commit(`${plan.get(id).name} taken off the plan`, [[id, { ...plan.get(id), outline: [] }]]);
      else send(form, id);
    });
    form.addEventListener("change", () => send(form, id));
    form.querySelector("[data-add-row]")?.addEventListener("click", () => addRow(form));
    const close = form.querySelector("[data-close]");
    if (close) {
      close.hidden = false;
      close.addEventListener("click", () => {
        show(null);
        plan.drawing.shown.get(id)?.group.focus();
      });
    }
  }

  function addRow(form) {
    const rows = form.querySelectorAll(".corner-rows tr");
    const last = rows[rows.length - 1];
    const row = last.cloneNode(true);
    const n = rows.length;
    for (const input of row.querySelectorAll("input")) {
      const axis = input.name[0];
      input.name = `${axis}_${n}`;
      input.id = `t-${axis}_${n}`;
      input.value = "";
      input.removeAttribute("aria-invalid");
      input.setAttribute("aria-label", input.getAttribute("aria-label").replace(/\d+/, String(n + 1)));
      input.setAttribute("aria-describedby", `tf-${axis}_${n}`);
    }
    for (const fault of row.querySelectorAll(".fault")) {
      const axis = fault.dataset.fault[0];
      fault.dataset.fault = `${axis}_${n}`;
      fault.id = `tf-${axis}_${n}`;
      fault.hidden = true;
      fault.textContent = "";
    }
    row.querySelector("th").textContent = String(n + 1);
    last.after(row);
    row.querySelector("input").focus();
  }

  let line = Promise.resolve();

  // One after the other, each with what the fields hold by then.
  function send(form, id) {
    line = line.then(() => sendNow(form, id));
  }

  async function sendNow(form, id) {
    await quiet();
    plan.status("Saving …", "busy");
    const before = plan.get(id);
    try {
      const response = await fetch(form.action, {
        method: "POST", headers: { accept: "application/json" }, body: new URLSearchParams(new FormData(form)), signal: AbortSignal.timeout(PATIENCE_MS),
      });
      const answer = await response.json();
      faults(form, answer.errors ?? {});
      if (response.ok) {
        plan.takeIn(answer.plan);
        const after = answer.plan.objects.find((thing) => idOf(thing) === id) ?? null;
        if (JSON.stringify(before) !== JSON.stringify(after)) {
          plan.done.push({ what: `${after.name} changed in its form`, steps: [{ id, before, after }] });
          plan.undone = [];
        }
        form.elements.before.value = JSON.stringify(after);
        form.elements.revision.value = answer.plan.revision;
        const heading = form.querySelector("[data-title]");
        if (heading) heading.textContent = after.name;
        plan.status("Saved", "good");
        plan.refresh();
      } else if (response.status === 409) {
        plan.status(answer.message, "bad");
        const other = answer.clashes[0];
        faults(form, { form: `${answer.message} In the other window: ${other.theirs}. Here: ${other.mine}. Press Save to put yours in its place, or open the object anew to keep theirs.` });
        const theirs = answer.plan.objects.find((thing) => idOf(thing) === id) ?? null;
        if (!theirs && !form.elements.removed) {
          const removed = Object.assign(document.createElement("input"), { type: "hidden", name: "removed", value: form.elements.before.value });
          form.append(removed);
        }
        form.elements.before.value = theirs ? JSON.stringify(theirs) : "";
        plan.takeIn(answer.plan);
      } else plan.status(`Not saved. ${answer.message}`, "bad");
    } catch {
      plan.status("Not saved yet. The program cannot be reached. What you typed stays here; press Save once it runs again.", "bad");
    }
  }

  function faults(form, errors) {
    for (const place of form.querySelectorAll("[data-fault]")) {
      const words = errors[place.dataset.fault] ?? "";
      place.textContent = words;
      place.hidden = !words;
      const input = form.elements[place.dataset.fault];
      if (input?.setAttribute) {
        if (words) input.setAttribute("aria-invalid", "true");
        else input.removeAttribute("aria-invalid");
      }
    }
  }

  // A drag changes what the open form shows.
  const refresh = plan.takeIn.bind(plan);
  plan.takeIn = (data) => {
    const was = open && JSON.stringify(plan.base.get(open));
    refresh(data);
    const form = sheet.querySelector("form.thing-form");
    if (open && form && !sheet.contains(document.activeElement) && form.elements.before.value && !plan.saver.touches(open)) {
      const now = plan.get(open);
      if (now && JSON.stringify(JSON.parse(form.elements.before.value)) !== JSON.stringify(now)) show(open);
    }
    return was;
  };
}

// The list beside the plan follows what is drawn.
let listed = "";

function list(plan) {
  const rows = [...plan.things].map(([id, thing]) => [id, thing.name, sizeWords(thing, plan.units), thing.outline?.length === 0]);
  const mark = JSON.stringify(rows);
  if (mark === listed) return;
  listed = mark;
  for (const group of plan.find("list").querySelectorAll("[data-group]")) {
    group.replaceChildren(...rows.filter(([id]) => id.startsWith(`${group.dataset.group}/`)).map(([id, name, size, bare]) => {
      const row = document.createElement("li");
      const link = Object.assign(document.createElement("a"), { href: `/ground/${id}`, textContent: name });
      link.dataset.choose = id;
      row.append(link, " ", Object.assign(document.createElement("span"), { className: "quiet", textContent: size }));
      if (bare) {
        const draw = Object.assign(document.createElement("button"), { type: "button", textContent: "Draw it" });
        draw.dataset.drawFor = id;
        draw.setAttribute("aria-label", `Draw ${name} on the plan`);
        row.append(" ", draw);
      }
      return row;
    }));
  }
}
