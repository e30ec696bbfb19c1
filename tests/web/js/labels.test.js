import assert from "node:assert/strict";
import { test } from "node:test";
import { clearance, onLevel, placed } from "../../../src/heavyspot/web/static/chart/labels.js";

const room = { left: 0, right: 500, top: 0, bottom: 300 };
const flat = (y) => () => y;

test("a label stands beside its line, inside the plot", () => {
  const box = placed({ width: 80, height: 20, own: flat(150), lines: [], taken: [], room });
  assert.ok(box.bottom <= 150 || box.top >= 150);
  assert.ok(box.left >= room.left && box.right <= room.right);
});

test("it keeps clear of another line and of another label", () => {
  const taken = [{ left: 0, right: 500, top: 160, bottom: 300 }];
  const box = placed({ width: 80, height: 20, own: flat(150), lines: [flat(60)], taken, room });
  assert.ok(box.bottom <= 150 && clearance(box, [flat(60)]) > 0);
});

test("where nowhere is free there is no label", () => {
  const taken = [{ left: 0, right: 500, top: 0, bottom: 300 }];
  assert.equal(placed({ width: 80, height: 20, own: flat(150), lines: [], taken, room }), null);
});

test("clearance is below 0 when a line runs through", () => {
  assert.ok(clearance({ left: 0, right: 50, top: 100, bottom: 120 }, [flat(110)]) < 0);
});

const level = { width: 100, height: 20, y: 150, gap: 4, taken: [], room, inset: 8 };

test("words on a level line stand at its left, where no curve runs", () => {
  assert.equal(onLevel({ ...level, lines: [flat(280)] }).left, 8);
});

test("they go along it until the curves leave room, and below it where there is none above", () => {
  const knee = (x) => (x < 200 ? 290 - x : 60);
  const box = onLevel({ ...level, lines: [knee] });
  assert.ok(box.bottom < 150 && clearance(box, [knee]) >= 8);
  const above = onLevel({ ...level, lines: [flat(135)] });
  assert.ok(above.top > 150);
});

test("where nowhere is free they stay at the left", () => {
  assert.equal(onLevel({ ...level, lines: [flat(135), flat(165)] }).left, 8);
});
