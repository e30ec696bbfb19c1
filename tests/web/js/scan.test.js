import assert from "node:assert/strict";
import test from "node:test";

const { findAddress, readSize } = await import("../../../src/heavyspot/web/static/page/scan.js");

test("a wide picture is read narrower, in its own shape", () => {
  assert.deepEqual(readSize(1920, 1080), { width: 960, height: 540 });
  assert.deepEqual(readSize(640, 480), { width: 640, height: 480 });
});

test("what was scanned is looked for, whatever is in it", () => {
  assert.equal(findAddress(" L-1/2 & co\n"), "/find?q=L-1%2F2%20%26%20co");
});
