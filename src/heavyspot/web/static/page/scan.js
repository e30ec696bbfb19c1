// The camera as a scanner: what is read is told to the page, as if a scanner had typed it.
import { tellScanned } from "./scanner.js";

const LOOK_EVERY_MS = 120;
const WIDEST_PX = 960;

/** Return the size a picture is read at: its own, or narrower with the same shape. */
export function readSize(width, height, widest = WIDEST_PX) {
  const narrow = Math.min(widest, width);
  return { width: narrow, height: Math.round((narrow * height) / width) };
}

/** Return where a scanned text leads. */
export function findAddress(text) {
  return `/find?q=${encodeURIComponent(text.trim())}`;
}

/**
 * Let a button open the camera; where there is none, the button stays hidden, or leads to a field to type into
 * where the dialog has one.
 */
export function scanOnClick(button, dialog) {
  const camera = navigator.mediaDevices?.getUserMedia ? new Camera(dialog) : null;
  const field = dialog?.querySelector("input");
  if (!button || !(camera || field)) return;
  button.hidden = false;
  button.addEventListener("click", () => (camera ? camera.open() : dialog.showModal()));
  dialog.querySelector("video").hidden = !camera;
  dialog.addEventListener("close", () => camera?.stop());
  field?.form.addEventListener("submit", () => field.value.trim() && tellScanned(field.value));
}

class Camera {
  #stream = null;
  // the browser's own reader knows bar codes too; where it has none, QR codes are read here
  #own = "BarcodeDetector" in window ? new window.BarcodeDetector() : null;

  constructor(dialog) {
    this.dialog = dialog;
    this.video = dialog.querySelector("video");
    this.words = dialog.querySelector("output");
    this.canvas = document.createElement("canvas");
  }

  async open() {
    this.dialog.showModal();
    this.words.textContent = this.dialog.dataset.aim;
    try {
      await loadReader();
      this.#stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
      this.video.srcObject = this.#stream;
      await this.video.play();
    } catch (fault) {
      this.words.textContent = this.dialog.dataset.noCamera.replace("{why}", fault.name);
      return;
    }
    await this.#look();
  }

  stop() {
    for (const track of this.#stream?.getTracks() ?? []) track.stop();
    this.#stream = null;
    this.video.srcObject = null;
  }

  async #look() {
    while (this.#stream) {
      const text = this.video.videoWidth ? await this.#read() : null;
      if (text) {
        this.words.textContent = text;
        this.dialog.close();
        tellScanned(text);
        return;
      }
      await new Promise((next) => setTimeout(next, LOOK_EVERY_MS));
    }
  }

  async #read() {
    Object.assign(this.canvas, readSize(this.video.videoWidth, this.video.videoHeight));
    const { width, height } = this.canvas;
    const pen = this.canvas.getContext("2d", { willReadFrequently: true });
    pen.drawImage(this.video, 0, 0, width, height);
    const found = await this.#ownReading();
    if (found) return found;
    return window.jsQR(pen.getImageData(0, 0, width, height).data, width, height)?.data ?? null;
  }

  async #ownReading() {
    if (!this.#own) return null;
    try {
      return (await this.#own.detect(this.canvas))[0]?.rawValue ?? null;
    } catch (fault) {
      this.#own = null; // it says it can read and cannot
      const { aim, onlyQr } = this.dialog.dataset;
      this.words.textContent = `${aim} ${onlyQr.replace("{why}", fault.name)}`;
      return null;
    }
  }
}

function loadReader() {
  if (window.jsQR) return Promise.resolve();
  return new Promise((done, failed) => {
    const script = document.createElement("script");
    script.src = "/static/vendor/jsQR.js";
    script.onload = done;
    script.onerror = () => failed(new DOMException("its reader did not load", "NetworkError"));
    document.head.append(script);
  });
}
