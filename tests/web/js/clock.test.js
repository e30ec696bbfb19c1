// Where a hand of the clock points.
import assert from "node:assert/strict";
import { test } from "node:test";
import { hourAt, onClock } from "../../../src/heavyspot/web/static/rig/clock.js";

const middle = { x: 100, y: 100 };

test("above is 12, right is 3, below is 6, left is 9", () => {
  assert.equal(hourAt(100, 20, middle), 12);
  assert.equal(hourAt(180, 100, middle), 3);
  assert.equal(hourAt(100, 180, middle), 6);
  assert.equal(hourAt(20, 100, middle), 9);
});

test("it goes by half hours, and round the clock", () => {
  assert.equal(hourAt(100 + 80 * Math.sin(Math.PI / 12), 100 - 80 * Math.cos(Math.PI / 12), middle), 0.5);
  assert.equal(hourAt(97, 20, middle), 12);
  assert.equal(onClock(12.5), 0.5);
  assert.equal(onClock(0), 12);
  assert.equal(onClock(-0.5), 11.5);
});
