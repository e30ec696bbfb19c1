// The numbers of the spin that runs, as the server sends them.
import { shown } from "../page/show.js";

/** Return what is known of the turning mark: a speed means it is seen, a long wait that it is not. */
export function markState({ speed_rpm, t }, lateAfterS) {
  if (speed_rpm !== null) return "seen";
  return t > lateAfterS ? "missing" : "waiting";
}

/** Return the unit vector on the page of a rotor angle, the mark at 12; angles grow against rotation. */
export function towards(angleDeg, clockwise) {
  const turn = ((clockwise ? -angleDeg : angleDeg) * Math.PI) / 180;
  return { x: Math.sin(turn), y: -Math.cos(turn) };
}

/** Return a clock time of an angle to five minutes, as the dial shows it. */
export function clockText(angleDeg, clockwise) {
  const hour = ((((clockwise ? -angleDeg : angleDeg) / 30) % 12) + 12) % 12;
  const five = Math.round(hour * 12) % 144;
  const minutes = (five % 12) * 5;
  return `${Math.floor(five / 12) || 12}:${String(minutes).padStart(2, "0")}`;
}

/** Show a message in the places the panel has for it. */
export function showLive(message) {
  for (const place of document.querySelectorAll("[data-live]")) {
    if (place.id === "panel") continue;
    const { live, digits = 0, scale = 1, step = 0 } = place.dataset;
    place.textContent = shown(message[live], { digits: +digits, scale: +scale, step: +step });
  }
  showMark(message);
  showGauge(message.share);
  const lost = document.getElementById("lost");
  if (lost && message.lost) {
    lost.hidden = false;
    lost.querySelector("output").textContent = message.lost;
  }
  const face = document.getElementById("face");
  if (face && message.angle_deg !== null && message.share !== null) showVector(face, message);
}

function showMark(message) {
  const box = document.getElementById("mark");
  if (!box) return;
  const state = markState(message, Number(box.dataset.lateS));
  for (const words of box.children) words.hidden = words.dataset.mark !== state;
}

function showGauge(share) {
  const place = document.getElementById("share");
  if (!place) return;
  place.textContent = Number.isFinite(share) ? `${Math.round(100 * share)} %` : "–";
  for (const bar of document.querySelectorAll(".gfill[data-limit-at]")) {
    const { limitAt, most } = bar.dataset;
    bar.setAttribute("width", Math.min((share ?? 0) * limitAt, most));
    bar.classList.toggle("over", share > 1);
  }
}

const MOST_REACH = 0.95;
const TRAIL = 240;
const trail = [];

function showVector(face, { angle_deg, share, t }) {
  const clockwise = face.dataset.clockwise === "yes";
  document.getElementById("clock").textContent = clockText(angle_deg, clockwise);
  if (trail.length && t < trail.at(-1).t) trail.length = 0; // another spin
  trail.push({ t, angle_deg, reach: Math.min(share * Number(face.dataset.ring), MOST_REACH) });
  if (trail.length > TRAIL) trail.shift();
  for (const svg of face.querySelectorAll("svg.dial")) drawVector(svg, clockwise);
}

function drawVector(svg, clockwise) {
  const size = svg.viewBox.baseVal.width;
  const centre = size / 2;
  const radius = centre - 3;
  const at = ({ angle_deg, reach }) => {
    const way = towards(angle_deg, clockwise);
    return [centre + way.x * reach * radius, centre + way.y * reach * radius];
  };
  const points = trail.map((p) =>
    at(p)
      .map((v) => v.toFixed(1))
      .join(","),
  );
  svg.querySelector(".trail").setAttribute("points", points.join(" "));
  const [x, y] = at(trail.at(-1));
  const length = Math.max(Math.hypot(x - centre, y - centre), 1e-6);
  const [ux, uy] = [(x - centre) / length, (y - centre) / length];
  const head = Math.min(size * 0.05, 0.42 * length);
  const [bx, by] = [x - ux * head * 1.7, y - uy * head * 1.7];
  const line = svg.querySelector(".vec");
  line.setAttribute("x2", bx);
  line.setAttribute("y2", by);
  const tip = [
    [x, y],
    [bx - uy * head, by + ux * head],
    [bx + uy * head, by - ux * head],
  ];
  svg.querySelector(".vech").setAttribute("points", tip.map((p) => p.join(",")).join(" "));
}
