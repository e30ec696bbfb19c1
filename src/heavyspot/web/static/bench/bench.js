// The bench of a piece: its charts, the spin that runs, and going on when somebody else has.
import { Chart } from "../chart/chart.js";
import { benchSpec } from "../chart/drawn.js";
import { showNumbers } from "../chart/table.js";
import { ask, askJson } from "../page/ask.js";
import { pedal } from "../page/page.js";
import { keepAwake } from "../page/wake.js";
import { Follower } from "./follow.js";
import { askScanned } from "./scanned.js";
import { Sounds } from "./sounds.js";
import { drawSpectrum } from "./spectrum.js";
import { fadeUndo } from "./undo.js";

const GLANCE_EVERY_MS = 1000;
const WALL_BIG = 1.75;
const LIVE = new Set(["spinning", "reading"]);

const bench = document.getElementById("bench");
const serial = encodeURIComponent(bench.dataset.serial);
const wall = "wall" in bench.dataset;
const panel = () => document.getElementById("panel");
const question = () => panel().dataset.question;
const sounds = new Sounds(document.querySelector("[data-turn-sound]"));
const charts = new Map();
let curves = null;
let did = ""; // what the pedal did in the panel before

const follower = new Follower(serial, {
  drawn: (live) => drawRuns(live),
  ended: refreshPanel,
  sounds,
  ages: bench.dataset,
});

function refreshPanel() {
  return window.htmx.ajax("GET", `/bench/${serial}/panel${wall ? "?wall=yes" : ""}`, {
    target: "#panel",
    swap: "outerHTML",
  });
}

function drawRuns(live = null) {
  for (const box of document.querySelectorAll("[data-chart=runs]")) {
    if (!charts.has(box)) charts.set(box, new Chart(box, { big: wall ? WALL_BIG : 1 }));
    const words = JSON.parse(box.dataset.words);
    if (curves)
      charts.get(box).draw(benchSpec(curves, question(), words, { live, simulated: words.simulated }));
  }
}

/** What the pedal does may have changed: at once, for a finger may lift before the scripts are in place. */
function sleepIfChanged() {
  const does = `${question()} ${document.querySelector("[data-next]")?.textContent}`;
  if (does === did) pedal.show();
  else pedal.changed();
  did = does;
}

/** The panel is new: its charts, its live parts, and what is read aloud. */
async function arrived() {
  charts.clear();
  document.getElementById("told").textContent = panel().dataset.told;
  fadeUndo(panel());
  keepAwake();
  follower.heard();
  if (LIVE.has(question())) follower.begin();
  curves = await askJson(`/api/v1/pieces/${serial}/curves`);
  drawRuns(follower.points);
  for (const box of document.querySelectorAll("[data-chart=spectrum]"))
    charts.set(box, await drawSpectrum(box, serial));
}

// another browser, or the other side of the rig, may have gone on: then this page goes on too
async function glance() {
  if (document.hidden || follower.follows) return;
  const rig = bench.dataset.rig ? `?rig=${encodeURIComponent(bench.dataset.rig)}` : "";
  const state = await (await ask(`/api/v1/bench/${serial}${rig}`)).json();
  follower.heard();
  if (wall && state.on_it !== bench.dataset.serial) location.reload();
  if (!wall && state.rig !== bench.dataset.onRig) location.reload(); // its head says which rig it is on
  const shown = panel().dataset;
  if ((state.question !== shown.question || state.stamp !== shown.stamp) && !busy()) refreshPanel();
}

/** Whether somebody is typing here, or something is on its way. */
const busy = () => document.activeElement?.matches("#panel input") || document.querySelector(".htmx-request");

async function orSayAway(act) {
  try {
    await act();
  } catch (fault) {
    follower.missed(fault);
  }
}

document.addEventListener("click", (event) => {
  const box = event.target.closest("[data-numbers]")?.closest(".card").querySelector(".plot");
  const spec = charts.get(box)?.spec;
  if (spec) showNumbers(document.getElementById("numbers"), spec, bench.dataset.serial);
});
document.addEventListener("click", (event) => event.target.closest("[data-quiet-horn]") && sounds.hush());
document.addEventListener("scheme", () => drawRuns(follower.points));
document.body.addEventListener("htmx:afterSwap", sleepIfChanged);
document.body.addEventListener("htmx:afterSettle", (event) => {
  if (event.target.id === "panel" || event.detail.elt.id === "panel") orSayAway(arrived);
});
document.body.addEventListener("htmx:sendError", (event) => follower.missed(event.detail.error));
if (!wall) askScanned(bench.dataset.serial, () => LIVE.has(question()));
setInterval(() => orSayAway(glance), GLANCE_EVERY_MS);
sleepIfChanged();
orSayAway(arrived);
