// What begins a spin is held for a second, by finger, mouse, key or pedal: a touch alone does nothing.
const HOLD_MS = 1000;
const KEYS = new Set(["Enter", " "]);

export class Hold {
  #timer = null;
  #control = null;
  #pressed = false;

  constructor(page, { after = HOLD_MS } = {}) {
    this.page = page;
    this.after = after;
    const held = (event) => event.target.closest?.("[data-hold]");
    page.addEventListener("pointerdown", (event) => {
      this.#pressed = Boolean(held(event));
      if (this.#pressed && event.button === 0) this.begin(held(event));
    });
    for (const end of ["pointerup", "pointercancel", "pointerleave"])
      page.addEventListener(end, () => this.cancel());
    page.addEventListener("keydown", (event) => {
      if (!held(event) || !KEYS.has(event.key)) return;
      event.preventDefault(); // no click comes of it: the key is held like the rest
      if (!event.repeat) this.begin(held(event));
    });
    page.addEventListener("keyup", (event) => KEYS.has(event.key) && this.cancel());
    page.addEventListener("click", (event) => this.#click(event, held(event)), true);
    page.addEventListener("contextmenu", (event) => held(event) && event.preventDefault());
    window.addEventListener("blur", () => this.cancel());
  }

  /** A press that was no pointer's and no key's comes from a screen reader, which cannot hold. */
  #click(event, control) {
    if (!control) return;
    event.preventDefault();
    if (!this.#pressed && event.detail === 0 && event.isTrusted) this.#done(control);
    this.#pressed = false;
  }

  begin(control) {
    this.cancel();
    this.#control = control;
    control.classList.add("held");
    this.#timer = setTimeout(() => this.#done(control), this.after);
  }

  cancel() {
    clearTimeout(this.#timer);
    this.#control?.classList.remove("held");
    this.#control = null;
  }

  #done(control) {
    this.cancel();
    // what was heard meanwhile may have drawn the panel anew: the same button goes on, another one never
    const same = (other) => other.textContent.trim() === control.textContent.trim();
    const there = control.isConnected ? control : [...this.page.querySelectorAll("[data-hold]")].find(same);
    there?.form?.requestSubmit();
  }
}
