// What shakes at one speed: the spectrum in multiples of the turning frequency.
import { Chart } from "../chart/chart.js";
import { askJson } from "../page/ask.js";

const HIGHEST_ORDER = 3;

/** Return the spec of a spectrum: { frequency_hz, spectrum_g, turning_hz } as the server answers. */
export function spectrumSpec(moment, words) {
  const points = moment.frequency_hz
    .map((hz, i) => [hz / moment.turning_hz, moment.spectrum_g[i]])
    .filter(([order]) => order <= HIGHEST_ORDER);
  const name = words.vibration;
  return {
    x: {
      low: 0,
      high: HIGHEST_ORDER,
      unit: "orders",
      title: words.orders,
      tick: (x) => (Number.isInteger(x) && x ? `${x} ×` : ""),
      read: (x) => `${x.toFixed(2)} ×`,
      cell: (x) => x.toFixed(3),
    },
    y: { title: words.vibration, unit: "g" },
    limit: null,
    lines: [{ name, points, look: "now" }],
  };
}

/** Draw it into its box; returns the chart. */
export async function drawSpectrum(box, serial) {
  const { run, atRpm } = box.dataset;
  const chart = new Chart(box);
  const moment = await askJson(`/api/v1/runs/${run}/moment/${serial}?speed_rpm=${atRpm}`);
  chart.draw(spectrumSpec(moment, JSON.parse(box.dataset.words)));
  return chart;
}
