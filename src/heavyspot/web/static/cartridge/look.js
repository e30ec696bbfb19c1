// A closer look at one run: curves of all passes, the speed-frequency map, one moment.
import { Chart } from "../chart/chart.js";
import { showNumbers } from "../chart/table.js";
import { ask, askJson } from "../page/ask.js";
import { amplitudeSpec, angleSpec, spectrumSpec, waveSpec } from "./charts.js";
import { drawMap, mapAxes, speedsAlong } from "./map.js";

const look = document.getElementById("look");
const { run, beside } = look.dataset;
const words = JSON.parse(look.dataset.words);
const serial = encodeURIComponent(look.dataset.serial);
const charts = new Map([...look.querySelectorAll("[data-chart]")].map((box) => [box.id, new Chart(box)]));
const log = document.getElementById("log");
let findings = [];
let drawnMap = null;
let moment = null;

async function curves() {
  const own = await askJson(`/api/v1/runs/${run}/passes/${serial}`);
  findings = own.findings;
  const other = beside ? await askJson(`/api/v1/runs/${beside}/passes/${serial}`) : { passes: [] };
  const passes = [...own.passes, ...other.passes.slice(0, 1)];
  if (!passes.length) return;
  const with_ = { limit: Number(look.dataset.limit), findings, words };
  charts.get("amplitude-chart").draw(amplitudeSpec(passes, own.passes.length, with_));
  charts.get("angle-chart")?.draw(angleSpec(passes, own.passes.length, with_));
}

async function map() {
  const answer = await ask(`/api/v1/runs/${run}/map/${serial}`);
  drawnMap = { levels: new Uint8Array(await answer.arrayBuffer()), axes: mapAxes(answer.headers) };
  paintMap();
  const { axes } = drawnMap;
  const upright = [...look.querySelectorAll("#map-upright span")];
  upright.forEach((place, i) => {
    place.textContent = `${((axes.topHz * (upright.length - 1 - i)) / (upright.length - 1) / 1000).toFixed(1)} kHz`;
  });
  look.querySelectorAll("#map-along span").forEach((place, i, all) => {
    const speed = speedsAlong(axes, all.length)[i];
    place.textContent = speed === null ? "–" : `${Math.round(speed / 1000)}k rpm`;
  });
  look.dataset.map = "drawn";
}

function paintMap() {
  if (drawnMap) drawMap(document.getElementById("map"), drawnMap.levels, drawnMap.axes, findings);
}

async function atSpeed() {
  moment = await askJson(`/api/v1/runs/${run}/moment/${serial}?speed_rpm=${at.value}`);
  document.getElementById("at-speed").textContent = moment.speed_rpm.toLocaleString(
    document.documentElement.lang,
  );
  drawMoment();
}

function drawMoment() {
  if (!moment) return;
  charts.get("wave-chart").draw(waveSpec(moment, words));
  charts.get("spectrum-chart").draw(spectrumSpec(moment, words, log.checked));
}

/** Do it; what cannot be drawn is said above the charts, in the server's words. */
async function orSay(act) {
  const place = document.getElementById("look-fault");
  try {
    await act();
  } catch (fault) {
    place.hidden = false;
    place.textContent = `✗ ${fault.message}`;
  }
}

const at = document.getElementById("at"); // not there where the run is a table: it has no samples
at?.addEventListener("change", () => orSay(atSpeed));
log?.addEventListener("change", drawMoment);
document.addEventListener("scheme", paintMap);
look.addEventListener("click", (event) => {
  const box = event.target.closest("[data-numbers]")?.closest("section").querySelector("[data-chart]");
  const spec = box && charts.get(box.id).spec;
  if (spec) showNumbers(document.getElementById("numbers"), spec, `run-${run}-${box.id}`);
});
orSay(async () => {
  await curves();
  if (!at) return;
  await map();
  await atSpeed();
});
