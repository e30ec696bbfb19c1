// The pedal: one stated key, and what it does is written on one control of the page, armed where one sees it.
//
// Nothing else means "next": Enter and space press what has the focus, as everywhere.
import { Hold } from "./hold.js";

const UNDER_FINGER_MS = 350;
const SETTLE_MS = 700; // a double press must not do the next thing too

/** Return whether a key press is the pedal's, pressed anew, and not typed into a text. */
export function isPedal({ key, repeat, target }, pedalKey) {
  return key === pedalKey && !repeat && !target?.closest?.("textarea");
}

export class Pedal {
  #changedAt = Number.NEGATIVE_INFINITY;
  #touchedAt = Number.NEGATIVE_INFINITY;

  constructor(page, key, hold = new Hold(page)) {
    this.page = page;
    this.key = key;
    this.hold = hold;
    page.addEventListener("keydown", (event) => this.#down(event));
    page.addEventListener("keyup", (event) => event.key === key && hold.cancel());
    page.addEventListener("pointerdown", () => this.#touched(), true);
    page.addEventListener("click", (event) => this.#tooSoon(event), true);
    for (const change of ["focus", "blur"]) window.addEventListener(change, () => this.show());
  }

  #touched() {
    this.#touchedAt = performance.now();
  }

  /** The page shows something new: the pedal sleeps a moment. */
  changed(now = performance.now()) {
    this.#changedAt = now;
    this.show();
    setTimeout(() => this.show(), SETTLE_MS + 20);
  }

  /** Whether a press would do what stands on the control. */
  armed(now = performance.now()) {
    const open = this.page.querySelector("dialog[open]");
    return !open && this.page.hasFocus() && now - this.#changedAt > SETTLE_MS;
  }

  /** Show on the control whether the pedal is awake. */
  show() {
    this.page.querySelector("[data-next]")?.classList.toggle("asleep", !this.armed());
  }

  /** What has come under a finger since it went down is not what it meant to press. */
  #tooSoon(event) {
    // keys press what has the focus, and have no place under a finger
    if (!event.isTrusted || event.detail === 0 || !event.target.closest?.("#panel")) return;
    const meanwhile = this.#touchedAt < this.#changedAt;
    const soon = event.target.closest(".act") && performance.now() - this.#changedAt < UNDER_FINGER_MS;
    if (!meanwhile && !soon) return;
    event.preventDefault();
    event.stopImmediatePropagation();
  }

  #down(event) {
    if (!isPedal(event, this.key)) return;
    const control = this.page.querySelector("[data-next]");
    if (!control) return;
    event.preventDefault();
    if (!this.armed()) return;
    if ("hold" in control.dataset) this.hold.begin(control);
    else control.click();
  }
}
