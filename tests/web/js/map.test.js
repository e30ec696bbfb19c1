import assert from "node:assert/strict";
import test from "node:test";
import {
  findingPlace,
  mapAxes,
  mapPixels,
  nearestRow,
  orderLine,
  rgb,
} from "../../../src/heavyspot/web/static/cartridge/map.js";

const axes = { rows: 4, columns: 2, topHz: 1000, speedHz: [100, null, 400, 600] };

test("axes are read from the headers; no speed is none, not nought", () => {
  const headers = new Headers({
    "X-Rows": "3",
    "X-Columns": "2",
    "X-Highest-Hz": "51.5",
    "X-Speed-Hz": "1.0,,0.0",
  });
  assert.deepEqual(mapAxes(headers), { rows: 3, columns: 2, topHz: 51.5, speedHz: [1, null, 0] });
});

test("colours of the page", () => {
  assert.deepEqual(rgb("#b02f18"), [0xb0, 0x2f, 0x18]);
});

test("time goes to the right and frequency upwards", () => {
  // two spectra of two lines: the first loud at the bottom, the second loud at the top
  const pixels = mapPixels(
    Uint8Array.of(255, 0, 0, 255),
    { rows: 2, columns: 2 },
    [255, 255, 255],
    [0, 0, 0],
  );
  const red = [0, 1, 2, 3].map((pixel) => pixels[4 * pixel]);
  assert.deepEqual(red, [255, 0, 0, 255]); // upper row: quiet, loud; lower row: loud, quiet
  assert.deepEqual(
    [3, 7, 11, 15].map((at) => pixels[at]),
    [255, 255, 255, 255],
  );
});

test("an order's line breaks where there is no speed, and at the top of the map", () => {
  assert.deepEqual(orderLine(1, axes), [
    [[0.125, 0.1]],
    [
      [0.625, 0.4],
      [0.875, 0.6],
    ],
  ]);
  assert.deepEqual(orderLine(2, axes), [[[0.125, 0.2]], [[0.625, 0.8]]]);
});

test("the row nearest a speed; none when there is none", () => {
  assert.equal(nearestRow(axes.speedHz, 390), 2);
  assert.equal(nearestRow([null, null], 390), -1);
});

test("a finding lies at its frequency, or at its order of its speed", () => {
  assert.deepEqual(findingPlace({ evidence: { speed_rpm: 6000, frequency_hz: 250 } }, axes), [0.125, 0.25]);
  assert.deepEqual(findingPlace({ evidence: { speed_rpm: 24_000, order: 2 } }, axes), [0.625, 0.8]);
});

test("a finding without a place on the map has none", () => {
  for (const evidence of [{}, { speed_rpm: 6000 }, { order: 1 }, { speed_rpm: 6000, frequency_hz: 2000 }]) {
    assert.equal(findingPlace({ evidence }, axes), null, JSON.stringify(evidence));
  }
  const still = { ...axes, speedHz: [null, null, null, null] };
  assert.equal(findingPlace({ evidence: { speed_rpm: 6000, order: 1 } }, still), null);
});
