"use strict";
// The bench's script: draws the curves, follows the live spin, and lets one key or pedal mean "next".
(() => {
  const NEXT_KEYS = new Set(["PageDown", "F13", "Enter", " "]);
  const bench = document.getElementById("bench");
  const css = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  let plot = null, view = null, socket = null;

  document.addEventListener("keydown", (event) => {
    if (!NEXT_KEYS.has(event.key) || event.repeat) return;
    if (event.target.closest("input, select, textarea, button, a, summary")) return;
    const next = document.querySelector("[data-next]");
    if (next) { event.preventDefault(); next.click(); }
  });
  document.querySelectorAll("[data-back]").forEach((a) => a.addEventListener("click", (e) => {
    if (history.length > 1) { e.preventDefault(); history.back(); }
  }));
  if (!bench) return;
  const serial = encodeURIComponent(bench.dataset.serial);
  const question = () => document.getElementById("panel").dataset.question;

  function series(data) {
    const ink = css("--ink"), faded = css("--faded"), heavy = css("--heavy"), next = css("--next");
    const made = [{}, { label: "limit", stroke: heavy, width: 2.5, dash: [10, 6] }];
    const rows = [data.speed_rpm, data.limit_g];
    const last = question() === "spinning" ? null : data.runs.length - 1;
    data.runs.forEach((run, i) => {
      made.push({ label: `run ${run.number}`, stroke: i === last ? ink : faded, width: i === last ? 3.5 : 1.5, alpha: i === last ? 1 : Math.max(0.35, 1 - 0.2 * (data.runs.length - i)) });
      rows.push(run.amplitude_g);
    });
    if (data.predicted && question() === "grind") {
      const at = rows.length;
      for (const key of ["low_g", "high_g", "amplitude_g"]) {
        made.push({ label: key, stroke: next, width: key === "amplitude_g" ? 3 : 0, dash: [3, 6] });
        rows.push(data.predicted[key]);
      }
      made.bands = [{ series: [at + 1, at], fill: next + "38" }];
    }
    if (question() === "spinning") {
      made.push({ label: "now", stroke: ink, width: 3.5 });
      rows.push(new Array(data.speed_rpm.length).fill(null));
    }
    return { made, rows };
  }

  function draw() {
    const box = document.getElementById("plot");
    const { made, rows } = series(view);
    const axis = { stroke: css("--ink"), grid: { stroke: css("--rule"), width: 1 }, ticks: { stroke: css("--rule") }, font: "15px serif" };
    const options = {
      width: box.clientWidth, height: box.clientHeight, series: made, bands: made.bands || [],
      legend: { show: false }, cursor: { show: false },
      scales: { x: { time: false, range: [0, view.speed_rpm[view.speed_rpm.length - 1]] }, y: { range: (u, lo, hi) => [0, Math.max(1.15 * hi, 1.5 * bench.dataset.limit)] } },
      axes: [{ ...axis, values: (u, v) => v.map((n) => (n / 1000).toFixed(0)), label: "thousand rpm", labelFont: "15px serif", labelSize: 22, size: 40 }, { ...axis, values: (u, v) => v.map((n) => n.toFixed(n < 1 && n > 0 ? 2 : 1)), label: "g", labelFont: "15px serif", labelSize: 18, size: 52 }],
    };
    box.textContent = "";
    plot = new uPlot(options, rows, box);
  }

  async function refreshCurves() {
    const answer = await fetch(`/api/pieces/${serial}/curves`);
    if (answer.ok) { view = await answer.json(); draw(); }
  }

  function show(id, value, digits) {
    const place = document.getElementById(id);
    if (place) place.textContent = value === null ? "–" : value.toLocaleString("en-US", { minimumFractionDigits: digits, maximumFractionDigits: digits });
  }

  function live(message) {
    show("speed", message.speed_rpm === null ? null : Math.round(message.speed_rpm / 50) * 50, 0);
    show("amplitude", message.amplitude_g, 2);
    show("angle", message.angle_deg, 0);
    show("overall", message.overall_g, 2);
    show("pickup", message.pickup === null ? null : 100 * message.pickup, 1);
    const mark = document.getElementById("mark");
    if (mark) mark.textContent = message.speed_rpm !== null ? "✓ The mark is seen: magnet and gap will do." : message.t > 4 ? "? No turning mark yet. Stop; magnetise again or close the gap to 4–5 mm." : "The magnet: waiting for the mark.";
    const lost = document.getElementById("lost");
    if (lost && message.lost) { lost.hidden = false; lost.textContent = `✗ ${message.lost} samples were lost.`; }
    const hand = document.getElementById("hand"), tip = document.getElementById("tip");
    if (hand && message.angle_deg !== null) {
      const sign = bench.dataset.rotation === "clockwise" ? -1 : 1;
      const a = (sign * message.angle_deg * Math.PI) / 180;
      const r = Math.min(1.25, message.amplitude_g / (2 * bench.dataset.limit)) * 70;
      const x = 130 + r * Math.sin(a), y = 130 - r * Math.cos(a);
      hand.setAttribute("x2", x); hand.setAttribute("y2", y); tip.setAttribute("cx", x); tip.setAttribute("cy", y);
    }
    if (message.curve && plot && view) {
      const now = new Array(view.speed_rpm.length).fill(null);
      const step = view.speed_rpm[1] - view.speed_rpm[0];
      for (const [speed, g] of message.curve) { const k = Math.round(speed / step); if (k < now.length) now[k] = Math.max(now[k] || 0, g); }
      const rows = plot.data.slice(0, -1); rows.push(now); plot.setData(rows);
    }
    // from the newest sample to the painted frame, for the benchmark
    requestAnimationFrame(() => { const age = Date.now() - message.sampled_unix_ms; bench.dataset.ages = `${(bench.dataset.ages || "").slice(-4000)} ${age.toFixed(0)}`; });
  }

  const refreshPanel = () => htmx.ajax("GET", `/bench/${serial}/panel`, { target: "#panel", swap: "outerHTML" });
  document.body.addEventListener("htmx:afterSettle", (event) => {
    if (event.target.id === "panel" || event.detail.elt.id === "panel") refreshCurves().then(follow);
  });

  function follow() {
    if (!["spinning", "reading"].includes(question()) || socket) return;
    socket = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/bench/${serial}/live`);
    socket.onmessage = (event) => {
      const message = JSON.parse(event.data);
      if (message.end) { socket.close(); } else { live(message); }
    };
    socket.onclose = () => { socket = null; setTimeout(refreshPanel, 60); };
  }

  // another browser, or the other side of the rig, may have gone on: then this page goes on too
  setInterval(async () => {
    if (socket || document.hidden) return;
    const answer = await fetch(`/api/bench/${serial}`).catch(() => null);
    if (answer && answer.ok && (await answer.json()).question !== question() && !socket) refreshPanel();
  }, 2000);

  addEventListener("resize", () => { if (view) draw(); });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => { if (view) draw(); });
  refreshCurves().then(follow);
})();
