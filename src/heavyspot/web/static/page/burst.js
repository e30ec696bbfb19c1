// A scanner is a keyboard that types faster than a hand: a burst of characters, and a key that ends it.
const LEAST = 3; // characters; a hand can strike two at once
const MARKED_GAP_MS = 500; // after the prefix, whatever comes is the scanner's

/**
 * Tells bursts from typing, key by key.
 *
 * `prefix` is the key a scanner sends first, empty where it sends none; `end` ends it; characters of a burst
 * follow each other within `gapMs`.
 */
export class Burst {
  #text = "";
  #at = Number.NEGATIVE_INFINITY;
  #marked = false;

  constructor({ prefix = "", end = "Enter", gapMs = 40 } = {}) {
    this.prefix = prefix;
    this.end = end;
    this.gapMs = gapMs;
  }

  /** Return how many characters have come so fast that they are a scanner's. */
  get length() {
    return this.#text.length;
  }

  /** Return { scan, ours, first }: the text once it has ended, whether the key is the scanner's, or a first one. */
  feed(key, now) {
    const near = now - this.#at <= (this.#marked ? MARKED_GAP_MS : this.gapMs);
    if (this.prefix && key === this.prefix) return this.#begin("", now, true);
    if (key === this.end) return this.#finish(near);
    if ([...key].length !== 1) return { scan: null, ours: false, first: false }; // Shift and its like
    if (!near) return this.#begin(key, now, false);
    this.#text += key;
    this.#at = now;
    return { scan: null, ours: true, first: false };
  }

  #begin(text, now, marked) {
    this.#text = text;
    this.#at = now;
    this.#marked = marked;
    return { scan: null, ours: marked, first: true };
  }

  #finish(near) {
    const whole = near && (this.#marked || this.#text.length >= LEAST) && this.#text.length > 0;
    const scan = whole ? this.#text : null;
    this.#text = "";
    this.#at = Number.NEGATIVE_INFINITY;
    this.#marked = false;
    return { scan, ours: whole, first: false };
  }
}
