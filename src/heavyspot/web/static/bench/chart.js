// The curves of a piece: limit, every run, what is expected next, and the spin that runs.
import { axisLook, colours, inThousands } from "../page/show.js";

const FONT = "15px serif";
const FAINTEST = 0.35;
const FADES_BY = 0.2;
const ROOM_ABOVE = 1.15;
const LEAST_TOP = 1.5; // of the limit

/** Return how strongly a run is drawn: the newest fully, earlier ones fading with their age. */
export function strength(index, count, newest) {
  return index === newest ? 1 : Math.max(FAINTEST, 1 - FADES_BY * (count - index));
}

/**
 * Return the lines of the chart and their values, in the same order.
 *
 * While it spins no run is the newest, and an empty line waits for the live curve; what is expected
 * is drawn, with its band, while a cut is asked for.
 */
export function benchSeries(view, question, colour) {
  const spinning = question === "spinning";
  const newest = spinning ? null : view.runs.length - 1;
  const series = [{}, { label: "limit", stroke: colour("heavy"), width: 2.5, dash: [10, 6] }];
  const rows = [view.speed_rpm, view.limit_g];
  const bands = [];
  view.runs.forEach((run, i) => {
    const last = i === newest;
    const stroke = colour(last ? "ink" : "faded");
    const alpha = strength(i, view.runs.length, newest);
    series.push({ label: `run ${run.number}`, stroke, width: last ? 3.5 : 1.5, alpha });
    rows.push(run.amplitude_g);
  });
  for (const other of view.others ?? []) {
    series.push({ label: other.sensor, stroke: colour("ink"), width: 1.5, dash: [2, 5] });
    rows.push(other.amplitude_g);
  }
  if (view.predicted && question === "grind") {
    bands.push({ series: [rows.length + 1, rows.length], fill: `${colour("next")}38` });
    for (const [key, width] of [
      ["low_g", 0],
      ["high_g", 0],
      ["amplitude_g", 3],
    ]) {
      series.push({ label: key, stroke: colour("next"), width, dash: [3, 6] });
      rows.push(view.predicted[key]);
    }
  }
  if (spinning) {
    series.push({ label: "now", stroke: colour("ink"), width: 3.5 });
    rows.push(view.speed_rpm.map(() => null));
  }
  return { series, rows, bands };
}

/** Return live points [[rpm, g], ...] on the chart's even speeds; the highest where several meet. */
export function onSpeeds(speeds, points) {
  const row = speeds.map(() => null);
  const step = speeds[1] - speeds[0];
  for (const [rpm, g] of points) {
    const at = Math.round((rpm - speeds[0]) / step);
    if (at >= 0 && at < row.length) row[at] = Math.max(row[at] ?? 0, g);
  }
  return row;
}

/** Return the ends of the upright axis: room above the highest, and the limit always in sight. */
export function uprightEnds(highest, limitG) {
  return [0, Math.max(ROOM_ABOVE * (highest ?? 0), LEAST_TOP * limitG)];
}

/** Return a tick of the upright axis: hundredths below 1 g. */
export function gTick(value) {
  return value.toFixed(value > 0 && value < 1 ? 2 : 1);
}

export class BenchChart {
  #plot = null;
  #view = null;
  #question = "";

  constructor(box, limitG) {
    this.box = box;
    this.limitG = limitG;
  }

  draw(view, question) {
    this.#view = view;
    this.#question = question;
    this.redraw();
  }

  redraw() {
    if (!this.#view) return;
    const colour = colours();
    const { series, rows, bands } = benchSeries(this.#view, this.#question, colour);
    const axis = { ...axisLook(colour, FONT), labelFont: FONT };
    const top = this.#view.speed_rpm.at(-1);
    const options = {
      width: this.box.clientWidth,
      height: this.box.clientHeight,
      series,
      bands,
      legend: { show: false },
      cursor: { show: false },
      scales: {
        x: { time: false, range: [0, top] },
        y: { range: (_plot, _low, high) => uprightEnds(high, this.limitG) },
      },
      axes: [
        { ...axis, values: (_plot, v) => v.map(inThousands), label: "thousand rpm", labelSize: 22, size: 40 },
        { ...axis, values: (_plot, v) => v.map(gTick), label: "g", labelSize: 18, size: 52 },
      ],
    };
    this.box.textContent = "";
    this.#plot = new window.uPlot(options, rows, this.box);
  }

  /** Draw what the spin has shown so far. */
  follow(points) {
    if (!this.#plot) return;
    const now = onSpeeds(this.#view.speed_rpm, points);
    this.#plot.setData([...this.#plot.data.slice(0, -1), now]);
  }
}
