// Dark or light by choice: a classic script in the head, so that no page shows itself in the other one first.
// The dark colours stand under data-scheme alone; who has not chosen gets what the computer is set to.
(() => {
  const KEPT = "scheme";
  const root = document.documentElement;
  const computer = matchMedia("(prefers-color-scheme: dark)");

  function show() {
    root.dataset.scheme = localStorage.getItem(KEPT) ?? (computer.matches ? "dark" : "light");
    document.dispatchEvent(new CustomEvent("scheme"));
  }
  show();
  computer.addEventListener("change", show);

  document.addEventListener("click", (event) => {
    if (!event.target.closest("[data-turn-scheme]")) return;
    localStorage.setItem(KEPT, root.dataset.scheme === "dark" ? "light" : "dark");
    show();
  });
})();
