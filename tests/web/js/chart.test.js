import assert from "node:assert/strict";
import { test } from "node:test";
import {
  amplitudeSpec,
  angleSpec,
  spectrumSpec,
} from "../../../src/heavyspot/web/static/cartridge/charts.js";
import { benchSpec, highest } from "../../../src/heavyspot/web/static/chart/drawn.js";
import { rowsOf, valuesAt } from "../../../src/heavyspot/web/static/chart/reader.js";
import {
  niceStep,
  spacedStep,
  stretches,
  ticks,
  tickText,
  topFor,
  unwrapped,
  valueAt,
} from "../../../src/heavyspot/web/static/chart/scale.js";
import { csvOf } from "../../../src/heavyspot/web/static/chart/table.js";

const WORDS = {
  speed: "speed",
  vibration: "vibration",
  run: "run",
  limit: "limit",
  expected: "expected",
  now: "now",
  found: "as found",
  delivered: "as delivered",
  foretold: true,
};

const view = (runs, more = {}) => ({
  speed_rpm: [0, 50_000, 100_000, 150_000],
  limit_g: [0.5, 0.5, 0.5, 0.5],
  test_speed_rpm: 150_000,
  runs: runs.map((amplitude_g, i) => ({ number: i + 1, amplitude_g })),
  predicted: null,
  ...more,
});
const PREDICTED = { amplitude_g: [0, 0.1, 0.2, 0.3], low_g: [0, 0.05, 0.1, 0.2], high_g: [0, 0.2, 0.4, 9] };

test("the upright axis shows what was measured and the limit, never only the one", () => {
  assert.ok(topFor(0.1, 0.5) >= 0.75);
  assert.ok(topFor(3.1, 0.5) > 3.1);
  assert.ok(topFor(0, 0.5) > 0.5);
  assert.ok(topFor(null, null) > 0);
});

test("a band does not choose the axis: it may leave the picture", () => {
  const spec = benchSpec(view([[0, 0.2, 0.3, 0.6]], { predicted: PREDICTED }), "grind", WORDS);
  const measured = spec.lines.filter((l) => l.look !== "expect").flatMap((l) => l.points.map((p) => p[1]));
  assert.ok(Math.max(...measured) < 1 && Math.max(...spec.band.high.map((p) => p[1])) === 9);
});

test("ticks are what people count in", () => {
  assert.equal(niceStep(1), 0.2);
  assert.deepEqual(ticks(0, 1, 0.25), [0, 0.25, 0.5, 0.75, 1]);
  assert.equal(tickText(0.25, 0.25), "0.25");
  assert.equal(tickText(0.2, 0.2), "0.2");
  assert.equal(tickText(2, 1), "2");
  assert.equal(spacedStep(150_000, 600), 20_000);
  assert.ok(spacedStep(150_000, 200) >= 50_000);
});

test("a gap is a gap: nothing is read or drawn across it", () => {
  const points = [
    [0, 1],
    [1, null],
    [2, 3],
    [3, 5],
  ];
  assert.equal(stretches(points).length, 2);
  assert.equal(valueAt(points, 0.5), null);
  assert.equal(valueAt(points, 2.5), 4);
  assert.equal(valueAt(points, 9), null);
  assert.equal(valueAt([], 1), null);
});

test("the newest run is drawn in full where it is judged, thin where another is to come", () => {
  assert.equal(benchSpec(view([[0, 1, 1, 1]]), "grind", WORDS).lines[0].look, "now");
  assert.equal(benchSpec(view([[0, 1, 1, 1]]), "prepare", WORDS).lines[0].look, "before");
  assert.equal(benchSpec(view([[0, 1, 1, 1]]), "spinning", WORDS).lines[0].look, "before");
});

test("what was foretold is drawn only while it holds", () => {
  const told = view([[0, 1, 1, 1]], { predicted: PREDICTED });
  assert.ok(benchSpec(told, "prepare", WORDS).band);
  assert.equal(benchSpec(told, "prepare", { ...WORDS, foretold: false }).band, null);
  assert.equal(benchSpec(told, "done", WORDS).band, null);
});

test("at the end: as found and as delivered", () => {
  const { lines } = benchSpec(
    view([
      [0, 2, 2, 2],
      [0, 1, 1, 1],
      [0, 0.2, 0.2, 0.2],
    ]),
    "done",
    WORDS,
  );
  assert.deepEqual(
    lines.map((l) => [l.name, l.word]),
    [
      ["run 1", "as found"],
      ["run 3", "as delivered"],
    ],
  );
});

test("the spin that runs grows with its own points", () => {
  const live = [
    [10_000, 0.1],
    [20_123, 0.2],
  ];
  const line = benchSpec(view([]), "spinning", WORDS, { live }).lines.at(-1);
  assert.ok(line.tip);
  assert.deepEqual(line.points, live);
  assert.equal(highest(live, 15_000), 0.2);
});

test("the same numbers are read by cursor, in a table and as CSV", () => {
  const spec = benchSpec(view([[0, 0.2, 0.3, 0.6]]), "grind", WORDS);
  assert.equal(valuesAt(spec, 100_000), "100,000 rpm: run 1 0.30 g, limit 0.50 g");
  const rows = rowsOf(spec, 4);
  assert.deepEqual(rows[0], ["speed", "run 1, g", "limit, g"]);
  assert.equal(csvOf([["a,b", 'c"d']]), '"a,b","c""d"\r\n');
  assert.ok(csvOf(rows).startsWith('speed,"run 1, g"'));
});

test("an angle is drawn without jumps, and its gaps stay gaps", () => {
  const points = unwrapped([
    [1, 350],
    [2, 5],
    [3, null],
    [4, 340],
    [5, 10],
  ]);
  assert.deepEqual(
    points.map((p) => p[1]),
    [350, 365, null, 340, 370],
  );
});

const PASS = {
  direction: "up",
  speed_rpm: [1, 2, 3],
  amplitude_g: [0.1, 0.01, 0.2],
  angle_deg: [350, 90, 10],
};
const LOOK = { up: "up", down: "down", beside: "other", speed: "speed", amplitude: "amplitude, g" };

test("the closer look draws up as now, down as before, another run as expected", () => {
  const passes = [PASS, { ...PASS, direction: "down" }, PASS];
  const spec = amplitudeSpec(passes, 2, { limit: 0.5, findings: [], words: LOOK });
  assert.deepEqual(
    spec.lines.map((l) => l.look),
    ["now", "before", "expect"],
  );
});

test("where the amplitude is too small there is no angle, and the axis holds what was unwrapped", () => {
  const findings = [{ evidence: {} }, { evidence: { speed_rpm: 2 } }];
  const spec = angleSpec([PASS], 1, { findings, words: LOOK });
  assert.deepEqual(
    spec.lines[0].points.map((p) => p[1]),
    [350, null, 370],
  );
  assert.ok(spec.y.high >= 370);
  assert.deepEqual(spec.marks, [{ x: 2, word: "2" }]);
});

test("a spectrum in decades reaches over its highest line", () => {
  const at = { frequency_hz: [0, 10], spectrum_g: [0.0005, 0.02] };
  const { y } = spectrumSpec(at, LOOK, true);
  assert.ok(y.log && y.low === 1e-4 && y.high >= 0.02 && y.high <= 0.1001);
});

test("steps reach from a millionth to hundreds, and their ticks tell them apart", () => {
  for (const top of [3e-6, 0.004, 0.37, 7, 720]) {
    const step = niceStep(top);
    const words = ticks(0, top, step).map((v) => tickText(v, step));
    assert.ok(top / step <= 5.2 && words.length >= 2 && new Set(words).size === words.length, String(top));
  }
});
