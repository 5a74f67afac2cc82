// Shadows on level ground, by the formulas of the program's `ground.shadow`; a browser test holds the two to
// each other. Directions are unit vectors on the plan: x right, y up, z to the sky. Paths are in the drawing's
// centimeters, y downward.

const LOWEST = 1e-4;
const CORNERS = 48;

const cross = (o, a, b) => (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0]);

export function signedArea(outline) {
  let twice = 0;
  for (let i = 0; i < outline.length; i++) {
    const [x0, y0] = outline[i];
    const [x1, y1] = outline[(i + 1) % outline.length];
    twice += x0 * y1 - x1 * y0;
  }
  return twice / 2;
}

export function convexHull(points) {
  const sorted = [...points].sort((a, b) => a[0] - b[0] || a[1] - b[1]);
  const half = (list) => {
    const chain = [];
    for (const point of list) {
      while (chain.length > 1 && cross(chain[chain.length - 2], chain[chain.length - 1], point) <= 0) chain.pop();
      chain.push(point);
    }
    chain.pop();
    return chain;
  };
  return [...half(sorted), ...half(sorted.reverse())];
}

// Where the shadow of a point of this height falls, from its foot.
function thrown(height, sun) {
  const flat = Math.hypot(sun[0], sun[1]);
  const slope = Math.max(sun[2] / Math.max(flat, 1e-12), Math.tan(LOWEST));
  const length = height / slope;
  return flat < 1e-12 ? [0, 0] : [(-length * sun[0]) / flat, (-length * sun[1]) / flat];
}

// Made once a wall, so that a frame only adds and sorts.
export function readyWall(wall) {
  const corners = signedArea(wall.outline) > 0 ? wall.outline : [...wall.outline].reverse();
  const hull = convexHull(corners);
  const area = signedArea(hull);
  return { corners, height: wall.height, convex: Math.abs(area - signedArea(corners)) <= 1e-9 * Math.max(area, 1) };
}

export function wallShadow(wall, sun) {
  if (sun[2] <= 0) return [];
  const [tx, ty] = thrown(wall.height, sun);
  const far = wall.corners.map(([x, y]) => [x + tx, y + ty]);
  if (wall.convex) return [convexHull([...wall.corners, ...far])];
  const swept = [wall.corners, far];
  wall.corners.forEach((a, k) => {
    const next = (k + 1) % wall.corners.length;
    const b = wall.corners[next];
    if ((b[1] - a[1]) * tx - (b[0] - a[0]) * ty <= 0) return;
    const side = [a, b, far[next], far[k]];
    swept.push(signedArea(side) > 0 ? side : side.reverse());
  });
  return swept;
}

export function crownShadow(crown, sun) {
  if (sun[2] <= 0) return [];
  const half = (crown.height - crown.base) / 2;
  const [dx, dy] = thrown(crown.base + half, sun);
  const flat = Math.hypot(sun[0], sun[1]);
  const slope = Math.max(sun[2] / Math.max(flat, 1e-12), Math.tan(LOWEST));
  const along = Math.hypot(crown.radius, half / slope);
  const [s, c] = flat < 1e-12 ? [0, 1] : [sun[0] / flat, sun[1] / flat];
  const outline = [];
  for (let k = 0; k < CORNERS; k++) {
    const angle = (2 * Math.PI * k) / CORNERS;
    const u = along * Math.cos(angle);
    const v = crown.radius * Math.sin(angle);
    outline.push([crown.center[0] + dx + u * s - v * c, crown.center[1] + dy + u * c + v * s]);
  }
  return outline;
}

const LIMIT = 4000;
const clip = (v) => Math.max(-LIMIT, Math.min(LIMIT, v));

export function pathOf(outlines) {
  let d = "";
  for (const outline of outlines) {
    if (!outline.length) continue;
    d += "M" + outline.map(([x, y]) => `${(clip(x) * 100).toFixed(1)} ${(-clip(y) * 100).toFixed(1)}`).join("L") + "Z";
  }
  return d || "M0 0";
}

// The sun's direction at a minute of the clock, between two moments of its track.
export function sunAt(track, minute) {
  const step = track[1][0] - track[0][0];
  const at = Math.min(Math.max(minute / step, 0), track.length - 1.000001);
  const i = Math.floor(at);
  const part = at - i;
  const mix = [1, 2, 3].map((k) => track[i][k] * (1 - part) + track[i + 1][k] * part);
  const length = Math.hypot(...mix);
  return mix.map((v) => v / length);
}

const BEARINGS = ["north", "northeast", "east", "southeast", "south", "southwest", "west", "northwest"];

export function sunWords(sun, northDeg) {
  if (sun[2] <= 0) return "the sun is down";
  const bearing = (Math.atan2(sun[0], sun[1]) * 180) / Math.PI + northDeg;
  const name = BEARINGS[((Math.round(bearing / 45) % 8) + 8) % 8];
  return `the sun stands ${Math.round((Math.asin(Math.min(1, sun[2])) * 180) / Math.PI)}° high in the ${name}`;
}

const clock = (minute) => `${Math.floor(minute / 60)}:${String(Math.floor(minute % 60)).padStart(2, "0")}`;

export function wakeShadows() {
  const card = document.querySelector("[data-shadows]");
  if (!card || card.dataset.live) return;
  card.dataset.live = "yes";
  const slide = card.querySelector("input[type=range]");
  const shadowWords = card.querySelector("[data-shadow-words]");
  const day = card.querySelector("input[name=day]");
  const hour = card.querySelector("input[name=hour]");
  const fault = document.getElementById("sf-day");
  const play = card.querySelector("[data-play]");
  const drawings = [...card.querySelectorAll("svg.shadow-map")].map((svg) => ({
    svg,
    walls: svg.querySelector("[data-shade=walls]"),
    crowns: [...svg.querySelectorAll("[data-shade=crown]")],
    title: svg.querySelector("title"),
  }));
  let scene = null;
  let minute = Number(slide.value);
  let asked = 0;

  function draw() {
    asked = 0;
    if (!scene) return;
    const sun = sunAt(scene.track, minute);
    const walls = pathOf(scene.walls.flatMap((wall) => wallShadow(wall, sun)));
    const crowns = scene.crowns.map((crown) => pathOf([crownShadow(crown, sun)]));
    for (const drawing of drawings) {
      if (!drawing.svg.clientWidth && drawing.svg.getBoundingClientRect().width === 0) continue;
      drawing.walls.setAttribute("d", walls);
      drawing.crowns.forEach((path, k) => path.setAttribute("d", crowns[k]));
    }
    const words = `${clock(minute)}: ${sunWords(sun, scene.north_deg)}.`;
    shadowWords.textContent = words;
    slide.setAttribute("aria-valuetext", words);
  }

  const redraw = () => { if (!asked) asked = requestAnimationFrame(draw); };

  async function load() {
    const answer = await fetch(`/ground/sun/shadows.json?day=${encodeURIComponent(day.value)}`);
    const data = await answer.json();
    if (!answer.ok) {
      fault.textContent = data.message;
      fault.hidden = false;
      day.setAttribute("aria-invalid", "true");
      return;
    }
    fault.hidden = true;
    day.removeAttribute("aria-invalid");
    scene = { ...data, walls: data.walls.map(readyWall) };
    card.querySelector("[data-day-words]").textContent = data.words;
    for (const drawing of drawings) {
      drawing.crowns.forEach((path, k) => path.setAttribute("fill-opacity", scene.crowns[k].shade));
    }
    redraw();
  }

  slide.addEventListener("input", () => {
    minute = Number(slide.value);
    hour.value = clock(minute).padStart(5, "0");
    redraw();
  });
  hour.addEventListener("change", () => {
    const [h, m] = hour.value.split(":").map(Number);
    if (Number.isNaN(h)) return;
    minute = h * 60 + (m || 0);
    slide.value = minute;
    redraw();
  });
  day.addEventListener("change", load);
  card.querySelector("form").addEventListener("submit", (event) => event.preventDefault());

  let playing = 0;
  function step(time) {
    if (!playing) return;
    const passed = Math.min(time - playing, 100);
    playing = time;
    minute += passed * 0.06; // a day in some fifteen seconds
    const up = scene && sunAt(scene.track, minute)[2] > 0;
    if (minute >= 24 * 60 || (!up && minute > 12 * 60)) return stop();
    slide.value = minute;
    hour.value = clock(minute).padStart(5, "0");
    draw();
    requestAnimationFrame(step);
  }
  function stop() {
    playing = 0;
    play.textContent = "Play";
  }
  play.addEventListener("click", () => {
    if (playing) return stop();
    play.textContent = "Stop";
    const night = scene && sunAt(scene.track, minute)[2] <= 0;
    if (night) {
      minute = scene.track.find((row) => row[3] > 0)?.[0] ?? 0;
    }
    playing = performance.now();
    requestAnimationFrame(step);
  });

  card.querySelector("[data-awake]").hidden = false;
  load();
}
