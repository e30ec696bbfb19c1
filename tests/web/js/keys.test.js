import assert from "node:assert/strict";
import test from "node:test";
import { meansNext } from "../../../src/heavyspot/web/static/page/keys.js";

const on = (control) => ({ closest: () => control });

test("each key of a pedal means next, other keys do not", () => {
  for (const key of ["PageDown", "F13", "Enter", " "]) {
    assert.equal(meansNext({ key, repeat: false, target: on(null) }), true, key);
  }
  for (const key of ["PageUp", "a", "Escape", "Tab"]) {
    assert.equal(meansNext({ key, repeat: false, target: on(null) }), false, key);
  }
});

test("a key that is held down starts nothing a second time", () => {
  assert.equal(meansNext({ key: "Enter", repeat: true, target: on(null) }), false);
});

test("a key pressed on a control is the control's own", () => {
  let asked = "";
  const target = {
    closest: (what) => {
      asked = what;
      return {};
    },
  };
  assert.equal(meansNext({ key: " ", repeat: false, target }), false);
  for (const control of ["input", "select", "textarea", "button", "a", "summary"]) {
    assert.match(asked, new RegExp(`\\b${control}\\b`));
  }
});
