import assert from "node:assert/strict";
import { test } from "node:test";
import { asksHelp } from "../../../src/heavyspot/web/static/page/help.js";
import { keepAwake } from "../../../src/heavyspot/web/static/page/wake.js";

test("a question mark asks for help, one that is typed into a field does not", () => {
  const page = { closest: () => null };
  const field = { closest: () => ({}) };
  assert.ok(asksHelp({ key: "?", target: page }));
  assert.ok(!asksHelp({ key: "?", target: field }));
  assert.ok(!asksHelp({ key: "?", ctrlKey: true, target: page }));
  assert.ok(!asksHelp({ key: "Enter", target: page }));
});

test("the screen is held while it spins, let go when it stands, and a refusal harms nothing", async () => {
  const told = [];
  const lock = { addEventListener: () => null, release: async () => told.push("let go") };
  const screen = { request: async () => told.push("held") && lock };
  let spins = true;
  const root = { visibilityState: "visible", querySelector: () => (spins ? {} : null) };
  await keepAwake(root, screen);
  await keepAwake(root, screen);
  spins = false;
  await keepAwake(root, screen);
  await keepAwake(root, screen);
  assert.deepEqual(told, ["held", "let go"]);
  spins = true;
  await keepAwake(root, { request: async () => Promise.reject(new Error("battery")) });
});
