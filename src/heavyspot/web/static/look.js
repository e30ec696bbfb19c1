"use strict";
// A closer look at one run: curves of all passes, the speed-frequency map, one moment.
(() => {
  const look = document.getElementById("look");
  if (!look) return;
  const serial = encodeURIComponent(look.dataset.serial), run = look.dataset.run, beside = look.dataset.beside;
  const css = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const charts = {};
  const get = async (path) => { const answer = await fetch(path); if (!answer.ok) throw new Error(path); return answer.json(); };

  let findings = [];
  // each finding's number stands where its evidence is: at its speed on the curves, at its line on the map
  const marks = { hooks: { draw: [(u) => {
    const pen = u.ctx; pen.save(); pen.fillStyle = css("--heavy"); pen.strokeStyle = css("--heavy"); pen.lineWidth = 2; pen.font = `${16 * devicePixelRatio}px serif`; pen.textAlign = "center";
    findings.forEach((f, i) => {
      const speed = f.evidence.speed_rpm;
      if (!speed || speed > u.scales.x.max) return;
      const x = u.valToPos(speed, "x", true), { top, height } = u.bbox;
      pen.setLineDash([3, 5]); pen.beginPath(); pen.moveTo(x, top); pen.lineTo(x, top + height); pen.stroke();
      pen.fillText(i + 1, x, top + 18 * devicePixelRatio + 18 * devicePixelRatio * (i % 3));
    });
    pen.restore();
  }] } };

  function chart(id, rows, series, format, plugins = []) {
    const box = document.getElementById(id);
    const axis = { stroke: css("--ink"), grid: { stroke: css("--rule"), width: 1 }, ticks: { stroke: css("--rule") }, font: "14px serif" };
    if (charts[id]) charts[id].destroy();
    charts[id] = new uPlot({ plugins, width: box.clientWidth, height: box.clientHeight, legend: { show: false }, cursor: { show: false }, scales: { x: { time: false } }, series: [{}, ...series], axes: [{ ...axis, values: (u, v) => v.map(format) }, { ...axis, size: 58 }] }, rows, box);
  }

  function joined(passes, key) {
    const speeds = [...new Set(passes.flatMap((p) => p.speed_rpm))].sort((a, b) => a - b);
    const rows = passes.map((p) => { const at = new Map(p.speed_rpm.map((s, i) => [s, p[key][i]])); return speeds.map((s) => at.has(s) ? at.get(s) : null); });
    return [speeds, ...rows];
  }

  async function curves() {
    const answer = await get(`/api/runs/${run}/passes/${serial}`);
    const own = answer.passes;
    findings = answer.findings;
    const other = beside ? (await get(`/api/runs/${beside}/passes/${serial}`)).passes.slice(0, 1) : [];
    const all = [...own, ...other];
    const thousand = (n) => (n / 1000).toFixed(0);
    const style = (p, i) => i >= own.length ? { stroke: css("--next"), width: 2.5, dash: [3, 5] } : p.direction === "up" ? { stroke: css("--ink"), width: 3 } : { stroke: css("--faded"), width: 2, dash: [8, 4] };
    if (!all.length) return;
    const rows = joined(all, "amplitude_g"), limit = rows[0].map(() => +look.dataset.limit);
    chart("amplitude-chart", [...rows, limit], [...all.map(style), { stroke: css("--heavy"), width: 2, dash: [10, 6] }], thousand, [marks]);
    chart("angle-chart", joined(all, "angle_deg"), all.map(style), thousand, [marks]);
  }

  async function map() {
    const answer = await fetch(`/api/runs/${run}/map/${serial}`);
    const bytes = new Uint8Array(await answer.arrayBuffer());
    const start = performance.now();
    const rows = +answer.headers.get("X-Rows"), columns = +answer.headers.get("X-Columns"), top = +answer.headers.get("X-Highest-Hz");
    const speeds = answer.headers.get("X-Speed-Hz").split(",");
    const canvas = document.getElementById("map"), paper = document.createElement("canvas");
    paper.width = rows; paper.height = columns;
    const image = new ImageData(rows, columns);
    for (let t = 0; t < rows; t++) for (let f = 0; f < columns; f++) {
      const level = bytes[t * columns + f] / 255, at = 4 * ((columns - 1 - f) * rows + t);
      image.data[at] = 255 - 222 * level; image.data[at + 1] = 253 - 215 * level; image.data[at + 2] = 246 - 203 * level; image.data[at + 3] = 255;
    }
    paper.getContext("2d").putImageData(image, 0, 0);
    canvas.width = canvas.clientWidth * devicePixelRatio; canvas.height = canvas.clientHeight * devicePixelRatio;
    const pen = canvas.getContext("2d");
    pen.drawImage(paper, 0, 0, canvas.width, canvas.height);
    pen.strokeStyle = "#b02f18"; pen.lineWidth = 1.5 * devicePixelRatio;
    for (const order of [0.5, 1, 2, 3]) {
      pen.setLineDash(order === 1 ? [] : [6, 6]); pen.beginPath();
      let drawing = false;
      speeds.forEach((text, t) => {
        const hz = order * parseFloat(text);
        if (!text || hz > top) { drawing = false; return; }
        const x = ((t + 0.5) / rows) * canvas.width, y = canvas.height * (1 - hz / top);
        if (drawing) pen.lineTo(x, y); else pen.moveTo(x, y);
        drawing = true;
      });
      pen.stroke();
    }
    pen.setLineDash([]); pen.fillStyle = "#b02f18"; pen.font = `bold ${18 * devicePixelRatio}px serif`;
    findings.forEach((f, i) => {
      const e = f.evidence, hz = e.frequency_hz || (e.order && e.speed_rpm ? (e.order * e.speed_rpm) / 60 : 0);
      if (!hz || !e.speed_rpm || hz > top) return;
      const t = speeds.reduce((best, text, k) => (text && (best < 0 || Math.abs(text * 60 - e.speed_rpm) < Math.abs(speeds[best] * 60 - e.speed_rpm)) ? k : best), -1);
      const x = ((t + 0.5) / rows) * canvas.width, y = canvas.height * (1 - hz / top);
      pen.beginPath(); pen.arc(x, y, 14 * devicePixelRatio, 0, 2 * Math.PI); pen.stroke();
      pen.fillText(i + 1, x + 18 * devicePixelRatio, y - 8 * devicePixelRatio);
    });
    document.getElementById("map-top").textContent = `${(top / 1000).toFixed(1)} kHz`;
    document.getElementById("map-took").textContent = `drawn in ${(performance.now() - start).toFixed(0)} ms`;
  }

  async function moment() {
    const speed = document.getElementById("at").value;
    const m = await get(`/api/runs/${run}/moment/${serial}?speed_rpm=${speed}`);
    document.getElementById("at-speed").textContent = m.speed_rpm.toLocaleString("en-US");
    const line = [{ stroke: css("--ink"), width: 1.5 }];
    chart("wave-chart", [m.time_ms, m.acceleration_g], line, (n) => n.toFixed(1));
    chart("spectrum-chart", [m.frequency_hz, m.spectrum_g], line, (n) => n.toFixed(0));
  }

  document.getElementById("at").addEventListener("change", moment);
  document.getElementById("png").addEventListener("click", () => {
    const canvas = document.querySelector("#amplitude-chart canvas");
    if (!canvas) return;
    const link = document.createElement("a");
    link.download = `run-${run}.png`; link.href = canvas.toDataURL("image/png"); link.click();
  });
  curves().then(map).then(moment).catch(() => {});
})();
