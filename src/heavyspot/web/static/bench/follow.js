// Following the spin that runs: its numbers, and saying within a second when nothing comes any more.
import { showLive } from "./live.js";
import { showState, turnScreen } from "./state.js";

const STALE_MS = 1000;
const LOOK_MS = 200;
const SETTLE_MS = 60;

/** Return what is the matter: "" while all is well, "dead" when the program is silent, "dry" when only the rig is. */
export function silence({ wordAt, sampleAt, follows }, now, staleMs = STALE_MS) {
  if (now - wordAt > staleMs) return "dead";
  return follows && now - sampleAt > staleMs ? "dry" : "";
}

export class Follower {
  #socket = null;
  #wordAt = performance.now();
  #sampleAt = performance.now();
  #missed = false;
  #reads = false;

  /** `drawn` gets the points of the run so far, `ended` is called when a spin has ended. */
  constructor(serial, { drawn, ended, sounds, ages }) {
    this.serial = serial;
    this.drawn = drawn;
    this.ended = ended;
    this.sounds = sounds;
    this.ages = ages;
    this.points = null;
    setInterval(() => this.#look(), LOOK_MS);
  }

  get follows() {
    return this.#socket !== null;
  }

  /** The program answers. */
  heard() {
    this.#missed = false;
    this.#wordAt = performance.now();
  }

  /** The program does not answer, and not because it was asked too much. */
  missed(fault) {
    console.warn("No answer:", fault);
    this.#missed = true;
  }

  /** Follow until the server says that it has ended. */
  begin() {
    if (this.#socket) return;
    const scheme = location.protocol === "https:" ? "wss" : "ws";
    // in the page's language: not every browser says with a socket which ones it likes
    const speaks = document.documentElement.lang;
    const address = `${location.host}/bench/${this.serial}/live?speaks=${speaks}`;
    const socket = new WebSocket(`${scheme}://${address}`);
    this.#socket = socket;
    this.#sampleAt = performance.now();
    this.points = null;
    let over = false;
    this.#reads = false;
    socket.onmessage = (event) => {
      const message = JSON.parse(event.data);
      this.heard();
      if (message.end) {
        over = true;
        socket.close();
      } else if (message.reading) {
        this.#reads = true;
        turnScreen(false, this.sounds);
        this.ended();
      } else if ("t" in message) this.#message(message);
    };
    socket.onclose = () => {
      this.#socket = null;
      turnScreen(false, this.sounds);
      if (over) this.points = null;
      else this.#missed = true;
      setTimeout(() => this.ended(), SETTLE_MS);
    };
  }

  #message(message) {
    this.#sampleAt = performance.now();
    showLive(message);
    if (message.say) showState(message.say, this.sounds);
    if (message.curve) {
      this.points = message.curve;
      this.drawn(this.points);
    }
    // from the newest sample to the painted frame, for the benchmark
    requestAnimationFrame(() => {
      const age = Date.now() - message.sampled_unix_ms;
      this.ages.ages = `${(this.ages.ages || "").slice(-4000)} ${age.toFixed(0)}`;
    });
  }

  #look() {
    const spins = document.getElementById("panel").dataset.question === "spinning";
    const now = performance.now();
    const said = silence(
      { wordAt: this.#wordAt, sampleAt: this.#sampleAt, follows: this.follows && !this.#reads },
      now,
    );
    const gone = spins || this.#missed ? said : "";
    const band = document.querySelector(".standing.gone");
    document.getElementById("panel").classList.toggle("stale", Boolean(gone) && spins);
    band.hidden = !gone;
    if (!gone) return;
    const since = gone === "dead" ? this.#wordAt : this.#sampleAt;
    band.querySelector(".for").textContent = `${Math.round((now - since) / 1000)} s`;
    band.querySelector(".dead").hidden = gone !== "dead";
    band.querySelector(".dry").hidden = gone !== "dry";
    if (!spins) return;
    document.getElementById("say").innerHTML = document.getElementById("by-hand").innerHTML;
    delete document.getElementById("panel").dataset.live; // the sentence is said anew when figures come again
  }
}
