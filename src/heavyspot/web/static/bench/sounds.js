// The horn of the alarm and a tone when a spin has ended; both can be turned off, and that is kept.
const KEPT = "sounds";
const HORN_HZ = [620, 820];
const HORN_MS = 250;

export class Sounds {
  #context = null;
  #heard = false;
  #timer = null;
  #turn = 0;

  constructor(button) {
    this.button = button;
    button?.addEventListener("click", () => {
      localStorage.setItem(KEPT, this.on ? "off" : "on");
      this.quiet();
      this.#show();
    });
    this.#show();
  }

  get on() {
    return localStorage.getItem(KEPT) !== "off";
  }

  /** The horn sounds while there is an alarm, until somebody has heard it; the next alarm sounds anew. */
  alarm(there) {
    if (!there) this.#heard = false;
    if (!there || this.#heard || !this.on) this.quiet();
    else if (!this.#timer) {
      this.#horn();
      this.#timer = setInterval(() => this.#horn(), HORN_MS);
    }
  }

  /** Somebody has heard it. */
  hush() {
    this.#heard = true;
    this.quiet();
  }

  get sounding() {
    return this.#timer !== null;
  }

  quiet() {
    clearInterval(this.#timer);
    this.#timer = null;
  }

  #horn() {
    this.#context ??= new AudioContext();
    const tone = this.#context.createOscillator();
    const volume = this.#context.createGain();
    tone.type = "square";
    this.#turn += 1;
    tone.frequency.value = HORN_HZ[this.#turn % HORN_HZ.length];
    volume.gain.value = 0.2;
    tone.connect(volume).connect(this.#context.destination);
    tone.start();
    tone.stop(this.#context.currentTime + (HORN_MS - 20) / 1000);
  }

  #show() {
    if (this.button) this.button.textContent = this.on ? this.button.dataset.on : this.button.dataset.off;
  }
}
