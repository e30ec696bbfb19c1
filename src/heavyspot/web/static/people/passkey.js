// Passkeys: the browser asks a person's device to sign, and what it signed goes into the form.

/** Return bytes of base64url. */
export function bytes(text) {
  const plain = atob(text.replaceAll("-", "+").replaceAll("_", "/"));
  return Uint8Array.from(plain, (c) => c.charCodeAt(0));
}

/** Return base64url of bytes. */
export function text(buffer) {
  const plain = String.fromCharCode(...new Uint8Array(buffer));
  return btoa(plain).replaceAll("+", "-").replaceAll("/", "_").replace(/=+$/, "");
}

const named = (list) => (list ?? []).map((one) => ({ ...one, id: bytes(one.id) }));

/** Return the server's JSON as the browser takes it. */
export function asOptions(told) {
  const made = { ...told, challenge: bytes(told.challenge) };
  if (told.user) made.user = { ...told.user, id: bytes(told.user.id) };
  if (told.excludeCredentials) made.excludeCredentials = named(told.excludeCredentials);
  if (told.allowCredentials) made.allowCredentials = named(told.allowCredentials);
  return made;
}

/** Return what a device signed as the server reads it. */
export function asAnswer(given) {
  const response = {};
  for (const name of ["clientDataJSON", "attestationObject", "authenticatorData", "signature", "userHandle"])
    if (given.response[name]) response[name] = text(given.response[name]);
  return { id: given.id, rawId: text(given.rawId), type: given.type, response };
}

async function asked(form) {
  const body = new URLSearchParams(new FormData(form));
  const answer = await fetch(form.dataset.begin, { method: "POST", body });
  const told = await answer.json();
  if (!answer.ok) throw new Error([told.detail, told.remedy].filter(Boolean).join(" "));
  return asOptions(told);
}

async function signed(form) {
  const publicKey = await asked(form);
  const how = form.dataset.passkey === "add" ? "create" : "get";
  try {
    return await navigator.credentials[how]({ publicKey });
  } catch {
    throw new Error(form.querySelector("[data-said]").dataset.failed); // the browser has told the person why
  }
}

async function send(form) {
  const said = form.querySelector("[data-said]");
  const button = form.querySelector("button");
  said.hidden = true;
  button.disabled = true;
  try {
    form.elements.answer.value = JSON.stringify(asAnswer(await signed(form)));
    if (form.elements.password) form.elements.password.value = ""; // it was asked for; it is sent once
    form.submit();
  } catch (fault) {
    said.textContent = fault.message;
    said.hidden = false;
  }
  button.disabled = false;
}

const form = globalThis.document?.querySelector("[data-passkey]");
if (form && globalThis.PublicKeyCredential) {
  form.hidden = false;
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    send(form);
  });
}
