// A closer look at one run: curves of all passes, the speed-frequency map, one moment.
import { ask, askJson } from "../page/ask.js";
import { colours, inThousands } from "../page/show.js";
import { Charts } from "./charts.js";
import { drawMap, mapAxes } from "./map.js";
import { onOneAxis, passLook } from "./passes.js";

const look = document.getElementById("look");
const { run, beside } = look.dataset;
const serial = encodeURIComponent(look.dataset.serial);
const charts = new Charts();

async function curves() {
  const own = await askJson(`/api/runs/${run}/passes/${serial}`);
  charts.findings = own.findings;
  const other = beside ? await askJson(`/api/runs/${beside}/passes/${serial}`) : { passes: [] };
  const passes = [...own.passes, ...other.passes.slice(0, 1)];
  if (!passes.length) return;
  const colour = colours();
  const lines = passes.map((pass, i) => passLook(pass, i >= own.passes.length, colour));
  const rows = onOneAxis(passes, "amplitude_g");
  const limit = rows[0].map(() => Number(look.dataset.limit));
  const limitLine = { stroke: colour("heavy"), width: 2, dash: [10, 6] };
  charts.marked("amplitude-chart", [...rows, limit], [...lines, limitLine], inThousands);
  charts.marked("angle-chart", onOneAxis(passes, "angle_deg"), lines, inThousands);
}

async function map() {
  const answer = await ask(`/api/runs/${run}/map/${serial}`);
  const levels = new Uint8Array(await answer.arrayBuffer());
  const start = performance.now();
  const axes = mapAxes(answer.headers);
  drawMap(document.getElementById("map"), levels, axes, charts.findings);
  document.getElementById("map-top").textContent = `${(axes.topHz / 1000).toFixed(1)} kHz`;
  const took = performance.now() - start;
  document.getElementById("map-took").textContent = `drawn in ${took.toFixed(0)} ms`;
}

async function moment() {
  const speed = document.getElementById("at").value;
  const at = await askJson(`/api/runs/${run}/moment/${serial}?speed_rpm=${speed}`);
  document.getElementById("at-speed").textContent = at.speed_rpm.toLocaleString("en-US");
  const line = [{ stroke: colours()("ink"), width: 1.5 }];
  charts.plain("wave-chart", [at.time_ms, at.acceleration_g], line, (n) => n.toFixed(1));
  charts.plain("spectrum-chart", [at.frequency_hz, at.spectrum_g], line, (n) => n.toFixed(0));
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

function savePicture() {
  const canvas = document.querySelector("#amplitude-chart canvas");
  if (!canvas) return;
  const link = document.createElement("a");
  link.download = `run-${run}.png`;
  link.href = canvas.toDataURL("image/png");
  link.click();
}

document.getElementById("at").addEventListener("change", () => orSay(moment));
document.getElementById("png").addEventListener("click", savePicture);
orSay(async () => {
  await curves();
  await map();
  await moment();
});
