import assert from "node:assert/strict";
import test from "node:test";
import { refusal } from "../../../src/heavyspot/web/static/page/ask.js";

test("a refusal is said in the server's own words", async () => {
  const body = { detail: "There is no recording.", remedy: "It was retired." };
  const headers = { "content-type": "application/problem+json" };
  const answer = Response.json(body, { status: 404, headers });
  assert.equal(await refusal(answer), "There is no recording. It was retired.");
});

test("an answer without words is told by its status", async () => {
  assert.equal(await refusal(new Response("<h1>", { status: 502 })), "The server answers 502.");
  assert.equal(await refusal(Response.json({}, { status: 500 })), "The server answers 500.");
});
