import assert from "node:assert/strict";
import test from "node:test";
import {
  benchSeries,
  gTick,
  onSpeeds,
  strength,
  uprightEnds,
} from "../../../src/heavyspot/web/static/bench/chart.js";

const colour = (name) => name;
const view = {
  speed_rpm: [0, 500, 1000],
  limit_g: [null, 0.5, 0.5],
  runs: [
    { number: 1, amplitude_g: [null, 1, 2] },
    { number: 2, amplitude_g: [null, 0.3, 0.4] },
  ],
  predicted: { low_g: [1, 1, 1], high_g: [2, 2, 2], amplitude_g: [1.5, 1.5, 1.5] },
};

test("every line has its values, in the same order", () => {
  for (const question of ["grind", "spinning", "done"]) {
    const { series, rows } = benchSeries(view, question, colour);
    assert.equal(series.length, rows.length, question);
    assert.equal(rows[0], view.speed_rpm);
    assert.equal(rows[1], view.limit_g);
  }
});

test("the newest run is in ink, earlier ones fade; while it spins none is the newest", () => {
  const strokes = (question) =>
    benchSeries(view, question, colour)
      .series.slice(2, 4)
      .map((s) => s.stroke);
  assert.deepEqual(strokes("done"), ["faded", "ink"]);
  assert.deepEqual(strokes("spinning"), ["faded", "faded"]);
});

test("what is expected is drawn while a cut is asked for, its band between low and high", () => {
  const { series, rows, bands } = benchSeries(view, "grind", colour);
  const [upper, lower] = bands[0].series;
  assert.equal(rows[upper], view.predicted.high_g);
  assert.equal(rows[lower], view.predicted.low_g);
  assert.equal(series[upper].width, 0);
  assert.equal(rows.at(-1), view.predicted.amplitude_g);
  assert.deepEqual(benchSeries(view, "done", colour).bands, []);
  assert.equal(benchSeries({ ...view, predicted: null }, "grind", colour).rows.length, 4);
});

test("the live line is last and empty until the spin fills it", () => {
  const { series, rows } = benchSeries(view, "spinning", colour);
  assert.equal(series.at(-1).label, "now");
  assert.deepEqual(rows.at(-1), [null, null, null]);
});

test("live points fall on the nearest speed; the highest stays", () => {
  assert.deepEqual(
    onSpeeds(
      [0, 500, 1000],
      [
        [480, 0.2],
        [510, 0.1],
        [1249, 0.3],
      ],
    ),
    [null, 0.2, 0.3],
  );
});

test("an axis that does not begin at nought is no trouble", () => {
  assert.deepEqual(
    onSpeeds(
      [1000, 1500, 2000],
      [
        [1480, 0.2],
        [100, 9],
        [2600, 9],
      ],
    ),
    [null, 0.2, null],
  );
});

test("runs fade with their age and stay visible", () => {
  assert.equal(strength(4, 5, 4), 1);
  assert.equal(strength(3, 5, 4), 0.6);
  assert.equal(strength(0, 9, 8), 0.35);
});

test("the limit is always in sight", () => {
  assert.deepEqual(uprightEnds(0.1, 0.5), [0, 0.75]);
  assert.deepEqual(uprightEnds(2, 0.5), [0, 2.3]);
  assert.deepEqual(uprightEnds(null, 0.5), [0, 0.75]);
});

test("ticks below 1 g in hundredths", () => {
  assert.deepEqual([0, 0.25, 1.5].map(gTick), ["0.0", "0.25", "1.5"]);
});
