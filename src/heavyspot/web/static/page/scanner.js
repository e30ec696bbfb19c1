// A scan only ever opens or asks: its keys press nothing, wherever the focus is, and its Enter dies with it.
import { Burst } from "./burst.js";

const SCANNED = "scanned";
const TYPED_IN = "input:not([type=hidden]), textarea";

/** Tell the page what was scanned, by keys or by camera. */
export function tellScanned(text) {
  document.dispatchEvent(new CustomEvent(SCANNED, { detail: text.trim() }));
}

/** Do something with what is scanned. */
export function whenScanned(act) {
  document.addEventListener(SCANNED, (event) => act(event.detail));
}

export class Scanner {
  #field = null;
  #before = "";

  constructor(settings) {
    this.burst = new Burst(settings);
    window.addEventListener("keydown", (event) => this.#key(event), true); // before anything else hears it
  }

  #key(event) {
    const field = event.target.closest?.(TYPED_IN) ?? null;
    const { scan, ours, first } = this.burst.feed(event.key, event.timeStamp);
    if (first) {
      this.#field = field;
      this.#before = field?.value ?? "";
    }
    if (scan !== null) this.#scanned(event, scan);
    else if (ours && !this.#field) stop(event); // a space in it presses no button
  }

  #scanned(event, text) {
    const field = this.#field;
    if (field?.matches("[data-opens]")) return; // the field to scan into: its Enter opens
    stop(event);
    if (field?.matches("[data-takes-scan]")) {
      const fields = [...document.querySelectorAll("[data-takes-scan]")];
      fields[fields.indexOf(field) + 1]?.focus();
      return;
    }
    if (field) {
      field.value = this.#before;
      field.dispatchEvent(new Event("input", { bubbles: true }));
    }
    tellScanned(text);
  }
}

function stop(event) {
  event.preventDefault();
  event.stopImmediatePropagation();
}
