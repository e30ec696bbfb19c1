// Asking the server for data; a refusal becomes an error with the server's own words.

/** Return the answer to a question, when it is good. */
export async function ask(path) {
  const answer = await fetch(path);
  if (answer.ok) return answer;
  throw new Error(await refusal(answer));
}

/** Return the JSON a path answers with. */
export async function askJson(path) {
  return (await ask(path)).json();
}

/** Return what a refusing answer says: its detail and remedy, else its status. */
export async function refusal(answer) {
  const kind = answer.headers.get("content-type") ?? "";
  const told = kind.startsWith("application/problem+json") ? await answer.json() : {};
  const answers = globalThis.document?.body?.dataset.answers ?? "The server answers {status}.";
  return [told.detail ?? answers.replace("{status}", answer.status), told.remedy].filter(Boolean).join(" ");
}
