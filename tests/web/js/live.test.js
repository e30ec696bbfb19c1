import assert from "node:assert/strict";
import { test } from "node:test";
import { silence } from "../../../src/heavyspot/web/static/bench/follow.js";
import { clockText, markState, towards } from "../../../src/heavyspot/web/static/bench/live.js";

test("a speed means the mark is seen", () => {
  assert.equal(markState({ speed_rpm: 9000, t: 1 }, 4), "seen");
  assert.equal(markState({ speed_rpm: null, t: 1 }, 4), "waiting");
  assert.equal(markState({ speed_rpm: null, t: 5 }, 4), "missing");
});

// by the convention of the program: angles grow against rotation, the mark at 12
test("on a rotor that turns clockwise 90 degrees is at 9 o'clock", () => {
  const { x, y } = towards(90, true);
  assert.ok(Math.abs(x + 1) < 1e-9 && Math.abs(y) < 1e-9);
  assert.equal(clockText(90, true), "9:00");
  assert.equal(clockText(30, true), "11:00");
  assert.equal(clockText(30, false), "1:00");
  assert.equal(clockText(0, true), "12:00");
  assert.equal(clockText(359.5, true), "12:00");
});

test("silence is said after a second: of the program, or of the rig alone", () => {
  const all = { wordAt: 1000, sampleAt: 1000, follows: true };
  assert.equal(silence(all, 1900), "");
  assert.equal(silence(all, 2100), "dead");
  assert.equal(silence({ ...all, wordAt: 2000 }, 2100), "dry");
  assert.equal(silence({ ...all, wordAt: 2000, follows: false }, 2100), "");
});
