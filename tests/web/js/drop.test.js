import assert from "node:assert/strict";
import { test } from "node:test";
import { sorted } from "../../../src/heavyspot/web/static/page/drop.js";

test("the JSON beside a recording is never taken for it", () => {
  const [wav, json] = [{ name: "run.WAV" }, { name: "run.wav.JSON" }];
  assert.deepEqual(sorted([json, wav]), { recording: wav, sidecar: json });
  assert.deepEqual(sorted([wav]), { recording: wav, sidecar: undefined });
  assert.deepEqual(sorted([json]), { recording: undefined, sidecar: json });
});
