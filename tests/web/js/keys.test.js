import assert from "node:assert/strict";
import { test } from "node:test";
import { Burst } from "../../../src/heavyspot/web/static/page/burst.js";
import { isPedal } from "../../../src/heavyspot/web/static/page/pedal.js";

const pressed = (key, more = {}) => ({ key, repeat: false, target: { closest: () => null }, ...more });

test("one stated key is the pedal, and no other means next", () => {
  assert.ok(isPedal(pressed("PageDown"), "PageDown"));
  for (const key of ["Enter", " ", "F13", "a"]) assert.ok(!isPedal(pressed(key), "PageDown"), key);
});

test("a pedal that is held down presses once, and none in a text", () => {
  assert.ok(!isPedal(pressed("PageDown", { repeat: true }), "PageDown"));
  assert.ok(!isPedal(pressed("PageDown", { target: { closest: () => ({}) } }), "PageDown"));
});

const feed = (burst, keys, every, from = 0) => keys.map((key, i) => burst.feed(key, from + i * every)).at(-1);

test("fast keys ended by Enter are a scan", () => {
  const { scan, ours } = feed(new Burst(), [..."L52-9104", "Enter"], 8);
  assert.equal(scan, "L52-9104");
  assert.ok(ours);
});

test("what a hand types is no scan, and its Enter stays the page's", () => {
  const { scan, ours } = feed(new Burst(), [..."L52-9104", "Enter"], 120);
  assert.equal(scan, null);
  assert.ok(!ours);
});

test("a lone Enter is no scan", () => {
  assert.deepEqual(new Burst().feed("Enter", 5), { scan: null, ours: false, first: false });
});

test("two keys struck at once are no scan", () => {
  assert.equal(feed(new Burst(), ["a", "b", "Enter"], 5).scan, null);
});

test("Shift and its like neither break a burst nor stand in it", () => {
  assert.equal(feed(new Burst(), ["Shift", "L", "5", "Shift", "X", "Enter"], 6).scan, "L5X");
});

test("a late Enter ends no burst", () => {
  const burst = new Burst();
  feed(burst, [..."L52"], 8);
  assert.equal(burst.feed("Enter", 500).scan, null);
});

test("after its prefix whatever comes is the scanner's, however slow it is", () => {
  const burst = new Burst({ prefix: "~" });
  assert.ok(burst.feed("~", 0).ours);
  assert.ok(feed(burst, ["A", "B"], 200, 200).ours);
  assert.equal(burst.feed("Enter", 700).scan, "AB");
});

test("the key that ends it is the shop's to state", () => {
  assert.equal(feed(new Burst({ end: "Tab" }), [..."ABC", "Tab"], 8).scan, "ABC");
});
