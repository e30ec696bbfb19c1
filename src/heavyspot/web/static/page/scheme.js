// Dark or light by choice: a classic script in the head, so that no page shows itself in the other one first.
(() => {
  const KEPT = "scheme";
  const root = document.documentElement;
  const kept = localStorage.getItem(KEPT);
  if (kept) root.dataset.scheme = kept;

  /** The way it looks now: by choice, else as the computer is set. */
  const now = () =>
    root.dataset.scheme ?? (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light");

  document.addEventListener("click", (event) => {
    if (!event.target.closest("[data-turn-scheme]")) return;
    root.dataset.scheme = now() === "dark" ? "light" : "dark";
    localStorage.setItem(KEPT, root.dataset.scheme);
    document.dispatchEvent(new CustomEvent("scheme"));
  });
})();
