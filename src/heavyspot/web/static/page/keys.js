// One key, or one pedal that types it, means "next": every page marks at most one control so.
const NEXT_KEYS = new Set(["PageDown", "F13", "Enter", " "]);
const OWN_KEYS = "input, select, textarea, button, a, summary";

/** Return whether a key press means "next": not held down, and not meant for the control it fell on. */
export function meansNext({ key, repeat, target }) {
  return NEXT_KEYS.has(key) && !repeat && !target.closest(OWN_KEYS);
}

/** Press the page's next control when its key comes. */
export function nextOnKey(page) {
  page.addEventListener("keydown", (event) => {
    const next = meansNext(event) ? page.querySelector("[data-next]") : null;
    if (!next) return;
    event.preventDefault();
    next.click();
  });
}

/** Let "Back" go where the reader came from, when there is such a page. */
export function backOnClick(page) {
  for (const link of page.querySelectorAll("[data-back]")) {
    link.addEventListener("click", (event) => {
      if (history.length <= 1) return;
      event.preventDefault();
      history.back();
    });
  }
}
