// Beside the bed: an entry is first laid down on the phone, then sent, and taken off the phone only when the
// computer has answered. Each has a request id, so that one that is sent twice is stored once. Without this module
// the same forms go the plain way.
const RESEND_MS = 15_000;
const REST_MS = 1_500;
const LONGEST_SIDE = 1600;
const LARGEST_BYTES = 30_000_000;

const page = document.querySelector("[data-log-page]");
const storagePrefix = `mulchwright.log.${page.dataset.book}.`;
const homeless = new Map(); // entries that did not fit on the phone: kept as long as this page is open
let sending = false;

// ---- small things -----------------------------------------------------------

function newRequestId() {
  const bytes = crypto.getRandomValues(new Uint8Array(12));
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

// The day in the garden, whatever zone the phone is set to.
function dayInGarden() {
  if (!page.dataset.zone) return "";
  try {
    const parts = new Intl.DateTimeFormat("en-US", {
      timeZone: page.dataset.zone, year: "numeric", month: "2-digit", day: "2-digit",
    }).formatToParts(new Date());
    const part = (type) => parts.find((p) => p.type === type).value;
    return `${part("year")}-${part("month")}-${part("day")}`;
  } catch {
    return "";
  }
}

const asText = (blob) => new Promise((resolve, reject) => {
  const reader = new FileReader();
  reader.onload = () => resolve(reader.result);
  reader.onerror = () => reject(reader.error);
  reader.readAsDataURL(blob);
});

function asBlob(text) {
  const [head, body] = text.split(",");
  const bytes = Uint8Array.from(atob(body), (letter) => letter.charCodeAt(0));
  return new Blob([bytes], { type: head.slice(5).split(";")[0] });
}

// A photo is shrunk here where the browser can unpack it, so that it is sent fast and fits on the phone.
async function shrunk(file) {
  try {
    const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
    const scale = Math.min(1, LONGEST_SIDE / Math.max(picture.width, picture.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(picture.width * scale);
    canvas.height = Math.round(picture.height * scale);
    const pen = canvas.getContext("2d");
    pen.fillStyle = "#fff";
    pen.fillRect(0, 0, canvas.width, canvas.height);
    pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
    picture.close();
    const blob = await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", 0.85));
    return blob ?? file;
  } catch {
    return file; // the computer looks at it, and says what is wrong with it
  }
}

// ---- what lies on the phone -------------------------------------------------

function keys() {
  const found = [];
  try {
    for (let n = 0; n < localStorage.length; n += 1) {
      const key = localStorage.key(n);
      if (key.startsWith(storagePrefix)) found.push(key);
    }
  } catch {
    // No storage in this browser: entries are kept with the page alone.
  }
  return found;
}

function waiting() {
  const items = [...homeless.values()];
  for (const key of keys()) {
    try {
      const item = JSON.parse(localStorage.getItem(key));
      // What an older page laid by still waits under the old name of its request id.
      if (item && !item.request_id) item.request_id = item.mark;
      items.push(item);
    } catch {
      // Not ours to throw away; a person may still read it.
    }
  }
  return items.filter((item) => item && item.request_id).sort((a, b) => a.at - b.at);
}

function store(item) {
  try {
    localStorage.setItem(storagePrefix + item.request_id, JSON.stringify(item));
    homeless.delete(item.request_id);
  } catch {
    homeless.set(item.request_id, item);
  }
}

function takeOff(requestId) {
  homeless.delete(requestId);
  try {
    localStorage.removeItem(storagePrefix + requestId);
  } catch {
    // There was no storage to begin with.
  }
}

// ---- sending ----------------------------------------------------------------

async function send(item) {
  const body = new FormData();
  body.append("request_id", item.request_id);
  for (const [name, value] of item.fields) body.append(name, value);
  item.photos.forEach((photo, n) => body.append("photo", asBlob(photo), `photo-${n + 1}`));
  let answer;
  try {
    answer = await fetch(item.to, { method: "POST", body, headers: { accept: "application/json" } });
  } catch {
    return { state: "away" };
  }
  let reply = {};
  try {
    reply = await answer.json();
  } catch {
    return { state: answer.ok || answer.status >= 500 ? "away" : "refused", message: `The computer answered ${answer.status}.` };
  }
  if (answer.ok) return { state: "stored", ...reply };
  if (answer.status === 401) return { state: "unpaired", ...reply };
  if (answer.status === 409 && reply.ask) return { state: "asks", ...reply };
  if (answer.status >= 500) return { state: "away" };
  return { state: "refused", ...reply };
}

async function sendAll(form = null, requestId = "") {
  if (sending) return;
  sending = true;
  let stored = false;
  try {
    for (const item of waiting()) {
      if (item.trouble && item.request_id !== requestId) continue;
      const result = await send(item);
      if (result.state === "stored") {
        takeOff(item.request_id);
        stored = true;
        tell(result.words, result.step);
        if (item.request_id === requestId && form) finished(form);
      } else if (result.state === "away") {
        break;
      } else if (item.request_id === requestId && form && result.state === "refused") {
        // It stands in the form still, with what is wrong beside its field.
        takeOff(item.request_id);
        show(form, result);
      } else {
        item.trouble = result.message ?? "It was not taken.";
        item.asks = result.state === "asks";
        item.pair = result.pair ?? "";
        store(item);
        if (result.state === "unpaired") break;
      }
    }
  } finally {
    sending = false;
  }
  list();
  if (stored) await freshHistory();
}

// ---- what is shown ----------------------------------------------------------

function element(name, text, attributes = {}) {
  const made = document.createElement(name);
  made.textContent = text;
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
}

function list() {
  const box = document.getElementById("unsent");
  if (!box) return;
  const items = waiting();
  box.hidden = items.length === 0;
  const rows = box.querySelector("ul");
  rows.replaceChildren();
  const head = items.length && homeless.size
    ? `Not yet sent: ${items.length}. This phone has no room for ${homeless.size}: leave this page open until it is sent.`
    : `Kept on this phone, ${items.length} not yet sent`;
  const heading = box.querySelector("h2 span");
  if (items.length && heading.textContent !== head) heading.textContent = head;
  if (!items.length) heading.textContent = "";
  for (const item of items) {
    const row = document.createElement("li");
    const what = document.createElement("div");
    what.append(element("p", item.words, { class: "entry" }));
    if (item.trouble) what.append(element("p", item.trouble, { class: "trouble" }));
    const buttons = element("p", "", { class: "buttons" });
    if (item.asks) {
      const yes = element("button", "Yes, save it", { type: "button" });
      yes.addEventListener("click", () => again(item, [["sure", "yes"]]));
      buttons.append(yes);
    } else if (item.pair) {
      buttons.append(element("a", "Pair this phone", { class: "button", href: item.pair }));
    } else if (item.trouble) {
      const retry = element("button", "Send again", { type: "button" });
      retry.addEventListener("click", () => again(item, []));
      buttons.append(retry);
    }
    if (item.trouble) {
      const drop = element("button", "Throw it away", { type: "button", class: "plain" });
      drop.addEventListener("click", () => { takeOff(item.request_id); list(); });
      buttons.append(drop);
    }
    if (buttons.childNodes.length) what.append(buttons);
    row.append(what);
    rows.append(row);
  }
}

function again(item, more) {
  item.fields = [...item.fields.filter(([name]) => !more.some(([other]) => other === name)), ...more];
  delete item.trouble;
  delete item.asks;
  delete item.pair;
  store(item);
  sendAll();
}

function tell(words, step) {
  const noted = document.getElementById("noted");
  if (!noted) return;
  const card = element("section", "", { class: "card noted" });
  card.append(element("p", `Noted: ${words}.`, { class: "answer" }));
  const back = element("button", "Undo", { type: "button", class: "plain" });
  back.addEventListener("click", async () => {
    back.disabled = true;
    try {
      const answer = await fetch(`/log/step/${step}/undo`, { method: "POST", headers: { accept: "application/json" } });
      const reply = await answer.json();
      card.querySelector("p").textContent = answer.ok ? `Taken back: ${words}.` : reply.message;
      if (answer.ok) back.remove();
      await freshHistory();
    } catch {
      back.disabled = false;
      card.querySelector("p").textContent = "The computer is out of reach just now; try again when it is back.";
    }
  });
  card.append(back);
  noted.replaceChildren(card);
}

async function freshHistory() {
  const here = document.getElementById("history");
  if (!here) return;
  try {
    const read = new DOMParser().parseFromString(await (await fetch(location.pathname)).text(), "text/html");
    const fresh = read.getElementById("history");
    if (fresh) here.replaceChildren(...fresh.childNodes);
  } catch {
    // The list is only older than it could be.
  }
}

function show(form, result) {
  for (const fault of form.querySelectorAll("[data-fault]")) {
    const words = result.errors?.[fault.dataset.fault];
    fault.hidden = !words;
    fault.textContent = words ?? "";
  }
  for (const field of form.querySelectorAll("[aria-describedby]")) {
    const name = document.getElementById(field.getAttribute("aria-describedby"))?.dataset.fault;
    if (result.errors?.[name]) field.setAttribute("aria-invalid", "true");
    else field.removeAttribute("aria-invalid");
  }
  const named = Object.keys(result.errors ?? {}).some((name) => form.querySelector(`[data-fault="${CSS.escape(name)}"]`));
  if (!named) {
    const first = form.querySelector("[data-fault]");
    first.hidden = false;
    first.textContent = result.message ?? "It was not taken.";
  }
  const faulty = form.querySelector("[aria-invalid]");
  if (faulty) faulty.focus();
}

function finished(form) {
  if (form.dataset.then && waiting().length === 0) {
    location.assign(form.dataset.then);
    return;
  }
  form.reset();
  show(form, { errors: {}, message: "" });
  for (const fault of form.querySelectorAll("[data-fault]")) fault.hidden = true;
  const open = form.closest("details");
  if (open) open.open = false;
}

// ---- forms ------------------------------------------------------------------

function inWords(form, submitter) {
  const kind = form.elements.kind;
  const name = kind instanceof HTMLSelectElement ? kind.selectedOptions[0].text : kind.value;
  const pressed = submitter?.name ? submitter.textContent.trim().replace(/\s+/g, " ") : "";
  const typed = ["water", "mass", "text"].map((field) => form.elements[field]?.value).filter(Boolean).join(", ");
  const what = [name.slice(0, 1).toUpperCase() + name.slice(1), pressed, typed].filter(Boolean).join(", ");
  return `${page.dataset.bedName}: ${what.slice(0, 120)}`;
}

async function take(form, submitter) {
  const data = new FormData(form, submitter);
  const fields = [];
  const photos = [];
  for (const [name, value] of data) {
    if (value instanceof File) {
      if (!value.size) continue;
      if (value.size > LARGEST_BYTES) {
        show(form, { errors: { photo: `“${value.name}” has ${Math.round(value.size / 1e6)} MB; 30 MB are taken. Choose a smaller photo.` } });
        return;
      }
      photos.push(await asText(await shrunk(value)));
    } else if (name !== "request_id") {
      fields.push([name, value]);
    }
  }
  // The day is fixed now, not when it is sent: tomorrow it would be another.
  const today = dayInGarden();
  const untouched = data.get("day") === data.get("page_day");
  const dated = fields.filter(([name]) => name !== "page_day").map(([name, value]) => (
    name === "day" && untouched && today ? [name, today] : [name, value]
  ));
  const requestId = data.get("request_id") || newRequestId();
  store({ request_id: requestId, at: Date.now(), to: form.getAttribute("action"), fields: dated, photos, words: inWords(form, submitter) });
  list();
  await sendAll(form, requestId);
  if (waiting().some((item) => item.request_id === requestId)) {
    // Out of reach, or a question: it is on the phone now, so the form is free for the next.
    form.reset();
    const open = form.closest("details");
    if (open) open.open = false;
    document.getElementById("unsent")?.scrollIntoView({ block: "nearest" });
  }
}

function wake() {
  for (const form of document.querySelectorAll("form[data-log]")) {
    let resting = false;
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      if (resting) return; // a second tap of the same press
      resting = true;
      try {
        await take(form, event.submitter);
      } finally {
        setTimeout(() => {
          form.elements.request_id.value = newRequestId();
          resting = false;
        }, REST_MS);
      }
    });
    const kind = form.querySelector("select[name='kind']");
    if (kind) {
      const fit = () => {
        for (const part of form.querySelectorAll("[data-kinds]")) part.hidden = !part.dataset.kinds.split(" ").includes(kind.value);
      };
      kind.addEventListener("change", fit);
      fit();
    }
  }
  document.querySelector("#unsent [data-send]")?.addEventListener("click", () => sendAll());
}

window.addEventListener("online", () => sendAll());
document.addEventListener("visibilitychange", () => { if (!document.hidden) sendAll(); });
window.addEventListener("beforeunload", (event) => { if (homeless.size) event.preventDefault(); });
setInterval(() => { if (waiting().some((item) => !item.trouble)) sendAll(); }, RESEND_MS);
wake();
list();
sendAll();
