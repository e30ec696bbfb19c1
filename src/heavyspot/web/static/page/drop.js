// A file dropped anywhere on the page goes into the form's first field; what comes with it beside it.

/** Return dropped files as the form's fields take them: the recording, and the JSON that says what it is. */
export function sorted(files) {
  const all = [...files];
  const sidecar = all.find((f) => f.name.toLowerCase().endsWith(".json"));
  return { recording: all.find((f) => f !== sidecar), sidecar };
}

function put(form, name, file) {
  if (!file) return;
  const held = new DataTransfer();
  held.items.add(file);
  form.elements[name].files = held.files;
}

const form = globalThis.document?.querySelector("[data-drop]");
if (form) {
  for (const kind of ["dragover", "dragenter"])
    document.addEventListener(kind, (event) => {
      event.preventDefault();
      form.classList.add("over");
    });
  document.addEventListener("dragleave", (event) => {
    if (!event.relatedTarget) form.classList.remove("over");
  });
  document.addEventListener("drop", (event) => {
    event.preventDefault();
    form.classList.remove("over");
    const { recording, sidecar } = sorted(event.dataTransfer.files);
    put(form, "recording", recording);
    put(form, "sidecar", sidecar);
    form.querySelector("button").focus();
  });
}
