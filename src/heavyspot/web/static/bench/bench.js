// The bench of a piece: the curves, the live spin, and going on when somebody else has.
import { ask, askJson } from "../page/ask.js";
import { BenchChart } from "./chart.js";
import { showLive } from "./live.js";

const GLANCE_EVERY_MS = 2000;
const SETTLE_MS = 60;
const LIVE = new Set(["spinning", "reading"]);

const bench = document.getElementById("bench");
const away = document.getElementById("away");
const serial = encodeURIComponent(bench.dataset.serial);
const chart = new BenchChart(document.getElementById("plot"), Number(bench.dataset.limit));
let socket = null;

const question = () => document.getElementById("panel").dataset.question;

function refreshPanel() {
  return window.htmx.ajax("GET", `/bench/${serial}/panel`, { target: "#panel", swap: "outerHTML" });
}

async function refreshCurves() {
  await orSayAway(async () => chart.draw(await askJson(`/api/pieces/${serial}/curves`), question()));
  follow();
}

/** Follow the spin that runs, until the server says it has ended. */
function follow() {
  if (!LIVE.has(question()) || socket) return;
  const scheme = location.protocol === "https:" ? "wss" : "ws";
  socket = new WebSocket(`${scheme}://${location.host}/bench/${serial}/live`);
  socket.onmessage = (event) => {
    const message = JSON.parse(event.data);
    if (message.end) socket.close();
    else live(message);
  };
  socket.onclose = () => {
    socket = null;
    setTimeout(refreshPanel, SETTLE_MS);
  };
}

function live(message) {
  showLive(message);
  if (message.curve) chart.follow(message.curve);
  // from the newest sample to the painted frame, for the benchmark
  requestAnimationFrame(() => {
    const age = Date.now() - message.sampled_unix_ms;
    bench.dataset.ages = `${(bench.dataset.ages || "").slice(-4000)} ${age.toFixed(0)}`;
  });
}

/** Do it; when the server cannot be reached, the page says that it shows what was. */
async function orSayAway(act) {
  try {
    await act();
    away.hidden = true;
  } catch (fault) {
    away.hidden = false;
    away.querySelector("span").textContent = fault.message;
  }
}

// another browser, or the other side of the rig, may have gone on: then this page goes on too
async function glance() {
  if (socket || document.hidden) return;
  const state = await (await ask(`/api/bench/${serial}`)).json();
  if (state.question !== question() && !socket) refreshPanel();
}

document.body.addEventListener("htmx:afterSettle", (event) => {
  if (event.target.id === "panel" || event.detail.elt.id === "panel") refreshCurves();
});
addEventListener("resize", () => chart.redraw());
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => chart.redraw());
setInterval(() => orSayAway(glance), GLANCE_EVERY_MS);
refreshCurves();
