import assert from "node:assert/strict";
import test from "node:test";
import { inThousands, shown } from "../../../src/heavyspot/web/static/page/show.js";

test("numbers as people read them", () => {
  assert.equal(shown(123456.4), "123,456");
  assert.equal(shown(0.4567, { digits: 2 }), "0.46");
  assert.equal(shown(0.1234, { digits: 1, scale: 100 }), "12.3");
});

test("a live speed goes in steps the eye can follow", () => {
  assert.equal(shown(74_974, { step: 50 }), "74,950");
  assert.equal(shown(74_975.1, { step: 50 }), "75,000");
});

test("what is not known is a dash, never nought", () => {
  for (const nothing of [null, undefined, Number.NaN, Number.POSITIVE_INFINITY]) {
    assert.equal(shown(nothing, { digits: 2 }), "–");
  }
  assert.equal(shown(0, { digits: 2 }), "0.00");
});

test("ticks in thousands", () => {
  assert.equal(inThousands(150_000), "150");
});
