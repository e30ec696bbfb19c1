// While a rotor turns the screen stays on, where the browser can do that.
const LIVE = "#panel.spinning, #panel.reading, #panel.listening";
let lock = null;

/** Hold the screen while something turns, let it go when it stands. */
export async function keepAwake(root = document, screen = navigator.wakeLock) {
  const wanted = root.querySelector(LIVE) !== null && root.visibilityState !== "hidden";
  if (wanted && !lock && screen) {
    try {
      lock = await screen.request("screen");
      lock.addEventListener("release", () => {
        lock = null;
      });
    } catch {
      lock = null; // a low battery refuses; the spin goes on
    }
  } else if (!wanted && lock) {
    await lock.release();
    lock = null;
  }
}
