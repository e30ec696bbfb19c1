// The charts of the closer look; findings stand as numbers at their speeds.
import { axisLook, colours } from "../page/show.js";

const FONT = "14px serif";

export class Charts {
  #drawn = new Map();
  findings = [];

  /** Draw a chart with the findings' numbers on it. */
  marked(id, rows, lines, tick) {
    this.plain(id, rows, lines, tick, [{ hooks: { draw: [(plot) => this.#mark(plot)] } }]);
  }

  /** Draw a chart, in place of the one that was there. */
  plain(id, rows, lines, tick, plugins = []) {
    const box = document.getElementById(id);
    const axis = axisLook(colours(), FONT);
    this.#drawn.get(id)?.destroy();
    const options = {
      plugins,
      width: box.clientWidth,
      height: box.clientHeight,
      legend: { show: false },
      cursor: { show: false },
      scales: { x: { time: false } },
      series: [{}, ...lines],
      axes: [
        { ...axis, values: (_plot, v) => v.map(tick) },
        { ...axis, size: 58 },
      ],
    };
    this.#drawn.set(id, new window.uPlot(options, rows, box));
  }

  #mark(plot) {
    const pen = plot.ctx;
    const heavy = colours()("heavy");
    const line = 18 * devicePixelRatio;
    const { top, height } = plot.bbox;
    pen.save();
    Object.assign(pen, { fillStyle: heavy, strokeStyle: heavy, lineWidth: 2, textAlign: "center" });
    pen.font = `${16 * devicePixelRatio}px serif`;
    pen.setLineDash([3, 5]);
    this.findings.forEach((finding, i) => {
      const speed = finding.evidence.speed_rpm;
      if (!speed || speed > plot.scales.x.max) return;
      const x = plot.valToPos(speed, "x", true);
      pen.beginPath();
      pen.moveTo(x, top);
      pen.lineTo(x, top + height);
      pen.stroke();
      pen.fillText(i + 1, x, top + line * (1 + (i % 3)));
    });
    pen.restore();
  }
}
