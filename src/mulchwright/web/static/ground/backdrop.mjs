// The picture under the plan: drawn anew on a canvas before it is sent (smaller, and without the camera's notes),
// shown from the program's own address, scaled by two taps.
import { FOOT_M } from "../shared/units.mjs";
import { node } from "./drawing.mjs";
import { distance } from "./geometry.mjs";

const LONGEST_PX = 3200;
const HEAD_BYTES = 1_500_000;
const QUALITY = 0.86;

export function wakeBackdrop(plan) {
  show(plan);
  const taken = plan.takeIn.bind(plan);
  plan.takeIn = (data) => {
    taken(data);
    show(plan);
  };
  const box = plan.find("backdrop");
  wakeUpload(plan, box.querySelector(".upload-form"));
  const form = box.querySelector(".backdrop-form");
  if (form) wakeForm(plan, form);
}

function show(plan) {
  const { backdrop } = plan.data;
  const layer = plan.drawing.backdrop;
  const mark = backdrop ? JSON.stringify(backdrop) : "";
  if (layer.dataset.mark === mark) return;
  layer.dataset.mark = mark;
  layer.replaceChildren();
  if (!backdrop) return;
  const [x, y] = backdrop.corner;
  const scale = backdrop.meters_per_pixel * 100;
  layer.append(node("image", {
    href: `/ground/backdrop/image?at=${backdrop.revision}`, width: backdrop.width_px, height: backdrop.height_px,
    preserveAspectRatio: "none", transform: `translate(${x * 100} ${-y * 100}) rotate(${backdrop.rotation_deg}) scale(${scale})`, opacity: 1 - backdrop.fade,
  }));
}

function faults(form, errors) {
  for (const place of form.querySelectorAll("[data-fault]")) {
    const words = errors[place.dataset.fault] ?? "";
    place.textContent = words;
    place.hidden = !words;
  }
}

function wakeUpload(plan, form) {
  const input = form.querySelector("input[type=file]");
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const file = input.files[0];
    if (!file) return faults(form, { image: "No file was chosen. Choose a photo or a scanned sketch." });
    plan.status("Making the picture ready …", "busy");
    try {
      const head = await fetch("/ground/backdrop/check", { method: "POST", body: file.slice(0, HEAD_BYTES) });
      const facts = await head.json();
      if (!head.ok) throw new Error(facts.message);
      const body = new FormData();
      body.append("image", await drawnAnew(file, facts), file.name);
      const response = await fetch("/ground/backdrop", { method: "POST", headers: { accept: "application/json" }, body });
      const answer = await response.json();
      if (!response.ok) throw new Error(answer.message);
      location.hash = "backdrop";
      location.reload();
    } catch (error) {
      const words = error instanceof TypeError ? "The program cannot be reached; the picture was not taken." : error.message;
      faults(form, { image: words });
      plan.status("The picture was not taken.", "bad");
    }
    return undefined;
  });
}

async function drawnAnew(file, { width_px: width, height_px: height }) {
  const factor = Math.min(1, LONGEST_PX / Math.max(width, height));
  let bitmap;
  try {
    bitmap = await createImageBitmap(file, factor < 1 && width >= height ? { resizeWidth: Math.round(width * factor), resizeQuality: "high" } : factor < 1 ? { resizeHeight: Math.round(height * factor), resizeQuality: "high" } : {});
  } catch {
    throw new Error("The picture breaks off or is damaged. Copy or export it again.");
  }
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = [bitmap.width, bitmap.height];
  const pen = canvas.getContext("2d");
  pen.fillStyle = "white";
  pen.fillRect(0, 0, canvas.width, canvas.height);
  pen.drawImage(bitmap, 0, 0);
  bitmap.close();
  return new Promise((done, failed) => canvas.toBlob((blob) => (blob ? done(blob) : failed(new Error("This browser cannot draw so large a picture."))), "image/jpeg", QUALITY));
}

function wakeForm(plan, form) {
  const fade = form.elements.fade;
  const image = () => plan.drawing.backdrop.querySelector("image");
  fade.addEventListener("input", () => image()?.setAttribute("opacity", 1 - fade.value / 100));
  fade.addEventListener("change", () => send(plan, form));
  form.addEventListener("submit", (event) => {
    if (event.submitter?.hasAttribute("formaction")) return;
    event.preventDefault();
    send(plan, form);
  });
  form.querySelector("[data-pick]").addEventListener("click", () => {
    plan.setMode("choose");
    plan.picking = [];
    plan.find("hint").textContent = "Tap the first of two points on the picture.";
    plan.show("hint-row", true);
    plan.drawing.svg.scrollIntoView({ block: "center" });
    plan.drawing.svg.focus({ preventScroll: true });
  });
  plan.stopPicking = () => {
    plan.picking = null;
    plan.refresh();
  };
  plan.pick = (point) => {
    if (plan.picking.length && distance(point, plan.picking[0]) < plan.drawing.meters(20)) return;
    plan.picking.push(point);
    plan.drawOverlay();
    plan.find("hint").textContent = "Now tap the second point, far from the first.";
    if (plan.picking.length < 2) return;
    const pixels = plan.picking.map((at) => toPixel(plan.data.backdrop, at));
    ["first", "second"].forEach((name, n) => {
      form.elements[`${name}_x`].value = pixels[n][0].toFixed(1);
      form.elements[`${name}_y`].value = pixels[n][1].toFixed(1);
    });
    // The first point stays where it was tapped until one types another place for it.
    ["at_x", "at_y"].forEach((name, axis) => {
      form.elements[name].value = plan.units === "us" ? `${(plan.picking[0][axis] / FOOT_M).toFixed(2)} ft` : `${plan.picking[0][axis].toFixed(2)} m`;
    });
    const { distance: field, bearing } = form.elements;
    const [a, b] = plan.picking;
    bearing.value = (((Math.atan2(b[0] - a[0], b[1] - a[1]) * 180) / Math.PI + plan.data.north_deg + 720) % 360).toFixed(1);
    field.value = "";
    plan.picking = null;
    field.scrollIntoView({ block: "center" });
    field.focus();
    plan.find("hint").textContent = "Type how far apart the two points are, then Place the picture.";
  };
}

function toPixel(backdrop, [x, y]) {
  const turn = (backdrop.rotation_deg * Math.PI) / 180;
  const [dx, dy] = [x - backdrop.corner[0], y - backdrop.corner[1]];
  const right = dx * Math.cos(turn) - dy * Math.sin(turn);
  const up = dx * Math.sin(turn) + dy * Math.cos(turn);
  const clip = (value, most) => Math.min(most, Math.max(0, value / backdrop.meters_per_pixel));
  return [clip(right, backdrop.width_px), clip(-up, backdrop.height_px)];
}

async function send(plan, form) {
  plan.status("Saving …", "busy");
  try {
    const response = await fetch(form.action, { method: "POST", headers: { accept: "application/json" }, body: new URLSearchParams(new FormData(form)) });
    const answer = await response.json();
    faults(form, answer.errors ?? {});
    const fresh = await (await fetch("/ground/plan.json", { cache: "no-store" })).json();
    form.elements.revision.value = fresh.revision;
    plan.takeIn(fresh);
    plan.refresh();
    if (response.ok) plan.status("Saved", "good");
    else plan.status(`Not saved. ${answer.message}`, "bad");
  } catch {
    plan.status("Not saved yet. The program cannot be reached. What you typed stays here.", "bad");
  }
}
