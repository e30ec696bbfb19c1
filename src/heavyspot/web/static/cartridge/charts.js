// The charts of the closer look, as specs of the one chart: amplitude, angle, one moment's wave and spectrum.

import { unwrapped } from "../chart/scale.js";
import { inThousands, shown } from "../page/show.js";

const QUIET_G = 0.03; // below it an amplitude has no angle worth drawing
const LOG_FROM = 1e-4;

const rpm = (words) => ({
  low: 0,
  title: words.speed,
  unit: "rpm",
  tick: (v) => inThousands(v),
  read: (v) => `${shown(v)} rpm`,
  cell: (v) => v.toFixed(0),
});

/** Return findings that have a speed, each with its number in the list. */
export function marksOf(findings) {
  return findings
    .map((finding, i) => ({ x: finding.evidence.speed_rpm, word: String(i + 1) }))
    .filter((mark) => mark.x);
}

function lineOf(pass, values, another, words) {
  const name = another ? words.beside : pass.direction === "up" ? words.up : words.down;
  const look = another ? "expect" : pass.direction === "up" ? "now" : "before";
  const points = pass.speed_rpm.map((speed, i) => [speed, values[i]]).sort((a, b) => a[0] - b[0]);
  return { name, word: name, look, points };
}

/** Return the amplitude of all passes against the limit; `own` of them are this run's. */
export function amplitudeSpec(passes, own, { limit, findings, words }) {
  const top = Math.max(...passes.flatMap((p) => p.speed_rpm));
  return {
    x: { ...rpm(words), high: top },
    y: { title: words.amplitude, unit: "g" },
    limit: {
      name: words.limit,
      word: `${words.limit} ${limit.toFixed(2)} g`,
      points: [
        [0, limit],
        [top, limit],
      ],
    },
    lines: passes.map((p, i) => lineOf(p, p.amplitude_g, i >= own, words)),
    marks: marksOf(findings),
  };
}

/** Return the angle of all passes, without jumps, and with gaps where there is too little to have one. */
export function angleSpec(passes, own, { findings, words }) {
  const lines = passes.map((p, i) => {
    const seen = p.angle_deg.map((deg, k) => (p.amplitude_g[k] >= QUIET_G ? deg : null));
    const line = lineOf(p, seen, i >= own, words);
    return { ...line, points: unwrapped(line.points) };
  });
  const all = lines.flatMap((l) => l.points.map((p) => p[1])).filter((v) => v !== null);
  return {
    x: { ...rpm(words), high: Math.max(...passes.flatMap((p) => p.speed_rpm)) },
    y: {
      title: words.angle,
      unit: "°",
      decimals: 0,
      low: 90 * Math.floor(Math.min(0, ...all) / 90),
      high: 90 * Math.ceil(Math.max(90, ...all) / 90),
    },
    lines,
    marks: marksOf(findings),
  };
}

const along = (title, unit, points) => ({
  low: points[0]?.[0] ?? 0,
  high: points.at(-1)?.[0] ?? 1,
  title,
  unit,
  read: (v) => `${v.toFixed(1)} ${unit}`,
  cell: (v) => v.toFixed(3),
});

const pairs = (xs, ys) => xs.map((x, i) => [x, ys[i]]);

/** Return one moment's waveform. */
export function waveSpec(at, words) {
  const points = pairs(at.time_ms, at.acceleration_g);
  const most = 1.08 * Math.max(1e-6, ...points.map((p) => Math.abs(p[1])));
  return {
    x: along(words.time, "ms", points),
    y: { title: words.wave, unit: "g", low: -most, high: most },
    lines: [{ name: words.wave, look: "now", points }],
  };
}

/** Return one moment's spectrum, its heights as ratios where asked. */
export function spectrumSpec(at, words, log) {
  const points = pairs(at.frequency_hz, at.spectrum_g);
  const highest = Math.max(LOG_FROM, ...points.map((p) => p[1]));
  const upright = log
    ? { log: true, low: LOG_FROM, high: 10 ** Math.ceil(Math.log10(highest) + 1e-9) }
    : { high: 1.08 * highest };
  return {
    x: along(words.frequency, "Hz", points),
    y: { title: words.wave, unit: "g", decimals: 4, ...upright },
    lines: [{ name: words.spectrum, look: "now", points }],
  };
}
