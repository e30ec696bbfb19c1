import assert from "node:assert/strict";
import test from "node:test";
import { handEnd } from "../../../src/heavyspot/web/static/bench/dial.js";

const dial = { centre: 130, rim: 88.4, most: 1.15, rimG: 1.0, sign: -1 };
const near = (end, x, y) => {
  assert.ok(Math.abs(end.x - x) < 1e-9 && Math.abs(end.y - y) < 1e-9, JSON.stringify(end));
};

test("the mark is at 12 o'clock, and half the rim is the limit", () => {
  near(handEnd(0, 0.5, dial), 130, 130 - 44.2);
});

test("angles grow against rotation: to the left of the mark on a clockwise rotor", () => {
  near(handEnd(90, 1.0, dial), 130 - 88.4, 130);
  near(handEnd(90, 1.0, { ...dial, sign: 1 }), 130 + 88.4, 130);
});

test("half a turn is below, whatever the rotation", () => {
  near(handEnd(180, 1.0, dial), 130, 130 + 88.4);
});

test("far over the limit the hand stays on the dial", () => {
  near(handEnd(0, 40, dial), 130, 130 - 1.15 * 88.4);
});
