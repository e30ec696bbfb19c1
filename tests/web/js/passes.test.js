import assert from "node:assert/strict";
import test from "node:test";
import { onOneAxis, passLook } from "../../../src/heavyspot/web/static/cartridge/passes.js";

test("passes at different speeds share one axis; a gap is a gap", () => {
  const passes = [
    { speed_rpm: [2000, 1000], amplitude_g: [0.2, 0] },
    { speed_rpm: [1000, 3000], amplitude_g: [0.4, null] },
  ];
  assert.deepEqual(onOneAxis(passes, "amplitude_g"), [
    [1000, 2000, 3000],
    [0, 0.2, null],
    [0.4, null, null],
  ]);
});

test("up, down and another run's pass are told apart without colour", () => {
  const dash = (direction, another) => String(passLook({ direction }, another, (name) => name).dash);
  assert.equal(new Set([dash("up", false), dash("down", false), dash("up", true)]).size, 3);
});
