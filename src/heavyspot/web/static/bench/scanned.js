// Another serial is scanned: the bench asks, and nothing is done until somebody touches an answer.
import { whenScanned } from "../page/scanner.js";

const BLINK_MS = 900;

/** Ask when another serial is scanned; while it spins the question waits until the rotor stands. */
export function askScanned(serial, spins) {
  let waiting = "";
  const open = async (text) => {
    const place = `/bench/${encodeURIComponent(serial)}/scanned?text=${encodeURIComponent(text)}`;
    const dialog = document.getElementById("scanned");
    await window.htmx.ajax("GET", place, { target: dialog, swap: "innerHTML" });
    if (!dialog.open) dialog.showModal();
  };
  whenScanned((text) => {
    if (text === serial) blink();
    else if (spins()) waiting = text;
    else open(text);
  });
  document.body.addEventListener("htmx:afterSettle", () => {
    if (!waiting || spins()) return;
    const text = waiting;
    waiting = "";
    open(text);
  });
}

function blink() {
  const head = document.querySelector(".spine");
  head.classList.add("again");
  setTimeout(() => head.classList.remove("again"), BLINK_MS);
}
