// The numbers of the spin that runs, as the server sends them.
import { shown } from "../page/show.js";
import { handEnd } from "./dial.js";

/** Return what is known of the turning mark: a speed means it is seen, a long wait that it is not. */
export function markState({ speed_rpm, t }, lateAfterS) {
  if (speed_rpm !== null) return "seen";
  return t > lateAfterS ? "missing" : "waiting";
}

/** Show a message in the places the panel has for it. */
export function showLive(message) {
  for (const place of document.querySelectorAll("[data-live]")) {
    const { live, digits = 0, scale = 1, step = 0 } = place.dataset;
    place.textContent = shown(message[live], { digits: +digits, scale: +scale, step: +step });
  }
  showMark(message);
  const lost = document.getElementById("lost");
  if (lost && message.lost) {
    lost.hidden = false;
    lost.querySelector("span").textContent = message.lost;
  }
  const hand = document.getElementById("hand");
  if (hand && message.angle_deg !== null) moveHand(hand, message);
}

function showMark(message) {
  const box = document.getElementById("mark");
  if (!box) return;
  const state = markState(message, Number(box.dataset.lateS));
  for (const words of box.children) words.hidden = words.dataset.mark !== state;
}

function moveHand(hand, message) {
  const { centre, rim, most, rimG, sign } = hand.dataset;
  const dial = { centre: +centre, rim: +rim, most: +most, rimG: +rimG, sign: +sign };
  const { x, y } = handEnd(message.angle_deg, message.amplitude_g, dial);
  const line = hand.querySelector("line");
  const tip = hand.querySelector("circle");
  line.setAttribute("x2", x);
  line.setAttribute("y2", y);
  tip.setAttribute("cx", x);
  tip.setAttribute("cy", y);
}
