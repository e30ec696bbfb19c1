// What is drawn of a piece in each state of the bench: from the server's curves to a chart's spec.
import { inThousands, shown } from "../page/show.js";

const pairs = (speeds, values) => speeds.map((speed, i) => [speed, values[i]]);

/** Return the lying axis of a chart over speed. */
export function speedAxis(high, words) {
  return {
    low: 0,
    high,
    unit: "rpm",
    title: words.speed,
    tick: inThousands,
    read: (x) => `${shown(x, { step: 50 })} rpm`,
    cell: (x) => String(Math.round(x)),
  };
}

/** Return the highest of a line where the limit holds. */
export function highest(points, fromRpm = 0) {
  return Math.max(0, ...points.filter(([x, y]) => x >= fromRpm && y !== null).map((p) => p[1]));
}

/** Return which runs are drawn and how, by the state: [run, look, word] each. */
function runsFor(view, state, words) {
  const runs = view.runs;
  const last = runs.at(-1);
  if (!last) return [];
  if (state === "done" && runs.length > 1)
    return [
      [runs[0], "before", words.found],
      [last, "now", words.delivered],
    ];
  const look = state === "spinning" || state === "prepare" ? "before" : "now";
  return [[last, look, `${words.run} ${last.number}`]];
}

const FORETELLS = new Set(["grind", "prepare", "spinning", "differently"]);

/**
 * Return the spec of the bench's chart.
 *
 * `view` is what the server answers, `state` the question, `words` the words beside the lines, `live` the
 * points of the spin that runs, [[rpm, g], ...]. The expected run is drawn while it is still to come.
 */
export function benchSpec(view, state, words, { live = null, simulated = "" } = {}) {
  const speeds = view.speed_rpm;
  const line = (name, values, look, word) => ({ name, points: pairs(speeds, values), look, word });
  const lines = runsFor(view, state, words).map(([run, look, word]) =>
    line(`${words.run} ${run.number}`, run.amplitude_g, look, word),
  );
  for (const other of view.others ?? [])
    if (state !== "spinning") lines.push(line(other.sensor, other.amplitude_g, "before", other.sensor));
  let band = null;
  if (view.predicted && words.foretold && FORETELLS.has(state)) {
    const { amplitude_g, low_g, high_g } = view.predicted;
    lines.push(line(words.expected, amplitude_g, "expect", words.expected));
    band = { low: pairs(speeds, low_g), high: pairs(speeds, high_g), word: words.worst };
  }
  if (live) lines.push({ name: words.now, points: live, look: "now", word: words.now, tip: true });
  const limit = pairs(speeds, view.limit_g);
  return {
    x: speedAxis(view.test_speed_rpm * 1.005, words),
    y: { title: words.vibration, unit: "g" },
    limit: { name: words.limit, points: limit, word: `${words.limit} ${limit[0][1].toFixed(2)}` },
    tiers: (view.tiers ?? []).map((t) => ({
      points: pairs(speeds, t.limit_g),
      word: t.name,
    })),
    band,
    lines,
    watermark: simulated,
  };
}
