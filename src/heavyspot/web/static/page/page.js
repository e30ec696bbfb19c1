// What every page has: the pedal, the scanner, the camera as a scanner, a way back.
import { backOnClick } from "./back.js";
import { helpOnAsking } from "./help.js";
import { Pedal } from "./pedal.js";
import { findAddress, scanOnClick } from "./scan.js";
import { Scanner, whenScanned } from "./scanner.js";

const { pedalKey, scanPrefix, scanEnd, scanGapMs, unsaved } = document.body.dataset;

export const pedal = new Pedal(document, pedalKey || "PageDown");
new Scanner({ prefix: scanPrefix, end: scanEnd || "Enter", gapMs: Number(scanGapMs) || 40 });
backOnClick(document);
helpOnAsking(document.getElementById("help"), document.querySelector("[data-help]"));
scanOnClick(document.querySelector("[data-scan], [data-by-hand]"), document.getElementById("scan"));
pedal.changed();

/** Whether somebody has typed into a form of this page that was not sent. */
const typed = () =>
  [...document.querySelectorAll("main input, main textarea")].some((f) => f.value !== f.defaultValue);

// the bench has its own question; elsewhere a scan opens, unless something typed would be lost
if (!document.getElementById("bench"))
  whenScanned((text) => {
    if (!typed() || confirm(unsaved.replace("{text}", text))) location.href = findAddress(text);
  });

/** What a link on the page leads to is opened where it is folded. */
function unfold() {
  const found = location.hash.length > 1 && document.getElementById(location.hash.slice(1));
  if (found instanceof HTMLDetailsElement) found.open = true;
}
addEventListener("hashchange", unfold);
unfold();
