// Help in a drawer: the page stays, ? opens it, Escape closes it, the focus goes back where it was.
const TYPED_INTO = "input, textarea, select, [contenteditable]";

/** Return whether a key asks for help: a question mark that nobody is typing into a field. */
export function asksHelp(event) {
  const { key, ctrlKey, altKey, metaKey, repeat, target } = event;
  return key === "?" && !ctrlKey && !altKey && !metaKey && !repeat && !target?.closest?.(TYPED_INTO);
}

async function show(dialog, place) {
  const answer = await fetch(place, { headers: { "HX-Request": "true" } });
  if (!answer.ok) return location.assign(place);
  dialog.querySelector(".drawn-in").innerHTML = await answer.text(); // our own page's, made safe there
  if (!dialog.open) dialog.showModal();
  dialog.scrollTop = 0;
}

export function helpOnAsking(dialog, opens) {
  if (!dialog) return;
  const here = `/help?of=${encodeURIComponent(location.pathname)}`;
  opens?.addEventListener("click", (event) => {
    event.preventDefault();
    show(dialog, here);
  });
  dialog.addEventListener("click", (event) => {
    const link = event.target.closest("a[href^='/help/']");
    if (event.target === dialog) dialog.close();
    if (!link) return;
    event.preventDefault();
    show(dialog, link.getAttribute("href"));
  });
  document.addEventListener("keydown", (event) => {
    if (asksHelp(event) && !document.querySelector("dialog[open]")) show(dialog, here);
  });
}
