// The page at work: the table sorts and filters, everything named leads to the 3D view.
"use strict";

const data = JSON.parse(document.getElementById("data").textContent);
const motion = new Motion(data);
const byId = new Map(data.placements.map((placement) => [placement.id, placement]));
const $ = (id) => document.getElementById(id);
const still = window.matchMedia("(prefers-reduced-motion: reduce)");
const SHOWN_NEAR = 0.02; // [s]: a measured length is drawn this near to its instant
const CLOSE = 2.4; // [m]: from here a spot is looked at
const state = { id: null, seconds: 0, segment: null, playing: false, last: 0, glide: null };
let viewer = null;

function start() {
  try {
    viewer = new Viewer($("view"), data, data.colours);
  } catch (error) {
    $("shown").hidden = true;
    $("no-view").hidden = false;
  }
  table();
  links();
  plans();
  if (viewer) controls();
  const asked = decodeURIComponent(window.location.hash.slice(1));
  const first = byId.has(asked) ? asked : data.first;
  if (viewer) home();
  select(first, byId.has(asked));
  document.documentElement.dataset.ready = "yes";
}

function home() {
  viewer.home(data.home, 0.52);
}

// Go to a placement at its worst instant.
function select(id, close) {
  const placement = byId.get(id);
  if (!placement) return;
  pause();
  state.id = id;
  state.seconds = placement.at === null ? 0 : placement.at;
  state.segment = placement.segment;
  document.querySelectorAll("[aria-current]").forEach((e) => e.removeAttribute("aria-current"));
  document.querySelectorAll("[data-goto]").forEach((element) => {
    if (element.dataset.goto === id) element.setAttribute("aria-current", "true");
  });
  told(placement);
  if (!viewer) return;
  const task = data.tasks[motion.taskOf.get(id)];
  $("time").max = Math.max(motion.seconds(task), 0.01);
  $("time").disabled = $("play").disabled = !task.segments.length;
  update();
  if (close) approach(placement);
}

function approach(placement) {
  const picked = viewer.scene.shown.filter((body) => viewer.scene.picked.has(body.name));
  let target = placement.mark && placement.mark.start.map((v, k) => (v + placement.mark.end[k]) / 2);
  if (!target && picked.length) target = viewer.middle(picked[0]);
  if (!target) return home();
  const from = viewer.camera;
  viewer.lookAt(target, placement.mark && placement.mark.kind === "shift" ? 1.6 * CLOSE : CLOSE);
  if (!still.matches) glide(from, viewer.camera);
}

// A short move of the eye, so that one sees where one is going; none where motion is unwanted.
function glide(from, to) {
  const turn = from.turn + Math.atan2(Math.sin(to.turn - from.turn), Math.cos(to.turn - from.turn));
  state.glide = { from, to: { ...to, turn }, since: performance.now() };
  viewer.camera = from;
}

function gliding(now) {
  if (!state.glide) return;
  const { from, to, since } = state.glide, share = Math.min((now - since) / 350, 1);
  const eased = share * share * (3 - 2 * share), mix = (a, b) => a + eased * (b - a);
  viewer.camera = { turn: mix(from.turn, to.turn), rise: mix(from.rise, to.rise),
    far: mix(from.far, to.far), target: from.target.map((v, k) => mix(v, to.target[k])) };
  if (share >= 1) state.glide = null;
}

function update() {
  const placement = byId.get(state.id), task = data.tasks[motion.taskOf.get(state.id)];
  const wanted = placement.at === null && placement.verdict !== "pass" && state.seconds === 0;
  const scene = motion.scene(task, state.seconds, state.segment, wanted);
  const picked = new Map();
  const passes = placement.verdict === "pass", pair = !passes && placement.between;
  (pair || placement.cartons).forEach((name, k) => {
    const { first, second, passing } = data.colours;
    picked.set(name, passes ? passing : k && pair ? second : first);
    picked.set(name.replace("tool/", "tool/lips of "), picked.get(name));
  });
  const worst = wanted || placement.at !== null && Math.abs(state.seconds - placement.at) < SHOWN_NEAR;
  scene.picked = picked;
  scene.mark = worst ? placement.mark : null;
  scene.verdicts = $("coloured").checked ? data.verdicts : null;
  viewer.show(scene);
  $("time").value = state.seconds;
  const when = scene.segment ? `${scene.segment.name}, ${state.seconds.toFixed(2)} s of ` +
    `${motion.seconds(task).toFixed(2)} s` : "no motion was found";
  $("now").textContent = wanted
    ? `${state.id} · drawn where it is wanted; the arm waits` : `${state.id} · ${when}`;
  $("time").setAttribute("aria-valuetext", when);
  $("what").textContent = worst ? placement.words : "";
}

function told(placement) {
  const list = $("findings");
  list.replaceChildren();
  $("chosen").textContent = `Placement ${placement.id}: ${placement.verdict}`;
  for (const finding of placement.findings) {
    const item = document.createElement("li"), head = document.createElement("strong");
    item.className = `v-${finding.verdict.replace(" ", "-")}`;
    head.textContent = `${finding.check}: ${finding.verdict}. `;
    item.append(head, finding.text);
    list.append(item);
  }
  const more = placement.more;
  $("more").textContent = more
    ? `${more} more findings that pass are in the results file (--results).` : "";
}

function step(by, wanted) {
  const ids = data.placements.map((placement) => placement.id);
  let k = ids.indexOf(state.id);
  for (let tried = 0; tried < ids.length; tried++) {
    k = (k + by + ids.length) % ids.length;
    if (wanted(data.placements[k])) return select(ids[k], true);
  }
}

const any = () => true;
const bad = (placement) => placement.verdict !== "pass";

function pause() {
  state.playing = false;
  if ($("play")) $("play").textContent = "Play";
}

function play() {
  const task = data.tasks[motion.taskOf.get(state.id)];
  if (!task.segments.length) return;
  if (state.playing) return pause();
  if (state.seconds >= motion.seconds(task) - 1e-3) state.seconds = 0;
  state.playing = true;
  state.segment = null;
  state.last = performance.now();
  $("play").textContent = "Pause";
}

function seek(seconds) {
  pause();
  state.seconds = seconds;
  state.segment = null;
  update();
}

function tick(now) {
  gliding(now);
  if (state.playing) {
    const task = data.tasks[motion.taskOf.get(state.id)], end = motion.seconds(task);
    state.seconds += Math.min((now - state.last) / 1000, 0.1) * Number($("speed").value);
    state.last = now;
    if (state.seconds >= end) {
      state.seconds = end;
      ended(task);
    } else {
      update();
    }
  }
  viewer.frame() && label();
  requestAnimationFrame(tick);
}

// At the end of a cycle: stop, or go on with the next one of this pallet.
function ended(task) {
  update();
  const next = data.tasks[data.tasks.indexOf(task) + 1];
  pause();
  if (!$("onwards").checked || !next || next.pallet !== task.pallet || !next.segments.length) return;
  select(next.placements[0], false);
  state.seconds = 0;
  play();
}

// The measured length, written beside its line.
function label() {
  const mark = viewer.scene.mark, box = $("mark"), at = mark && viewer.project(
    mark.start.map((v, k) => (v + mark.end[k]) / 2));
  box.hidden = !at;
  if (!at) return;
  box.textContent = mark.text;
  const room = $("view").clientWidth - box.offsetWidth - 4; // beside the spot, but inside the view
  box.style.left = `${Math.max(Math.min(at[0] + 11, room), 4)}px`;
  box.style.top = `${at[1] - 30}px`;
}

function controls() {
  const press = (id, run) => $(id).addEventListener("click", run);
  press("play", play);
  press("previous", () => step(-1, any));
  press("next", () => step(1, any));
  press("problem", () => step(1, bad));
  press("worst", () => select(state.id, true));
  press("whole", () => { state.glide = null; home(); });
  press("above", () => { state.glide = null; viewer.home(-Math.PI / 2, Math.PI / 2); });
  press("nearer", () => viewer.zoom(0.8));
  press("farther", () => viewer.zoom(1.25));
  $("problem").disabled = !data.placements.some(bad);
  $("time").addEventListener("input", () => {
    seek(Number($("time").value));
  });
  $("coloured").addEventListener("change", update);
  $("view").addEventListener("keydown", keys);
  window.addEventListener("beforeprint", () => {
    viewer.dirty = true;
    viewer.frame();
    $("printed").src = $("view").toDataURL("image/png");
  });
  requestAnimationFrame(tick);
}

function keys(event) {
  const run = {
    ArrowLeft: () => viewer.turn(0.1, 0), ArrowRight: () => viewer.turn(-0.1, 0),
    ArrowUp: () => viewer.turn(0, 0.08), ArrowDown: () => viewer.turn(0, -0.08),
    "+": () => viewer.zoom(0.85), "-": () => viewer.zoom(1.18), " ": play,
    n: () => step(1, any), p: () => step(-1, any), x: () => step(1, bad), h: home,
  }[event.key];
  if (!run || event.ctrlKey || event.metaKey || event.altKey) return;
  event.preventDefault();
  state.glide = null;
  run();
}

function links() {
  const go = (element) => {
    select(element.dataset.goto, true);
    if (viewer) $("three").scrollIntoView({ block: "nearest" });
  };
  document.querySelectorAll("[data-goto]").forEach((element) => {
    element.addEventListener("click", (event) => {
      event.stopPropagation();
      go(element);
    });
    element.addEventListener("keydown", (event) => {
      if (element.tagName === "BUTTON" || (event.key !== "Enter" && event.key !== " ")) return;
      event.preventDefault();
      go(element);
    });
  });
}

// One stop of the tab key for each plan; arrow keys go from placement to placement in it.
function plans() {
  document.querySelectorAll(".plan").forEach((plan) => {
    const spots = [...plan.querySelectorAll(".spot[data-goto]")];
    const stop = (wanted) => spots.forEach((spot) => { spot.tabIndex = spot === wanted ? 0 : -1; });
    stop(spots[0]);
    plan.addEventListener("focusin", (event) => stop(event.target.closest(".spot") || spots[0]));
    plan.addEventListener("keydown", (event) => {
      const from = event.target.closest(".spot");
      if (!ARROWS[event.key] || !from) return;
      event.preventDefault();
      neighbour(from, spots, ARROWS[event.key]).focus();
    });
  });
}

function table() {
  const body = $("rows"), rows = [...body.rows];
  const apply = () => {
    const words = $("words").value.trim().toLowerCase().split(/\s+/).filter(Boolean);
    const wanted = new Set(
      [...document.querySelectorAll("[name=verdict]:checked")].map((box) => box.value));
    let count = 0;
    for (const row of rows) {
      const text = row.textContent.toLowerCase();
      row.hidden = !wanted.has(row.dataset.verdict) || !words.every((w) => text.includes(w));
      count += row.hidden ? 0 : 1;
    }
    $("count").textContent = `${count} of ${rows.length} placements`;
  };
  document.querySelectorAll("[name=verdict]").forEach((e) => e.addEventListener("change", apply));
  $("words").addEventListener("input", apply);
  document.querySelectorAll("th button").forEach((button) => {
    button.addEventListener("click", () => sort(button, body, rows));
  });
  apply();
}

data.verdicts = new Map(data.placements.map((placement) => [placement.id, placement.verdict]));
start();
window.page = { data, motion, state, byId, select, seek, viewer: () => viewer };
