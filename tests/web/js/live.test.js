import assert from "node:assert/strict";
import test from "node:test";
import { markState } from "../../../src/heavyspot/web/static/bench/live.js";

test("a speed means that the mark is seen", () => {
  assert.equal(markState({ speed_rpm: 12_000, t: 9 }, 4), "seen");
  assert.equal(markState({ speed_rpm: 0, t: 9 }, 4), "seen");
});

test("no speed is waited for, then said", () => {
  assert.equal(markState({ speed_rpm: null, t: 4 }, 4), "waiting");
  assert.equal(markState({ speed_rpm: null, t: 4.1 }, 4), "missing");
});
