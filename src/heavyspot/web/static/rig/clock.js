// Where sensors and pickup sit: their hands on the clock are dragged, or moved by the arrow keys; the field has it.

const STEP = 0.5;
const MOVES = { ArrowRight: STEP, ArrowUp: STEP, ArrowLeft: -STEP, ArrowDown: -STEP };

/** Return the hour a point lies at, seen from a middle, to half an hour: above it is 12, right of it 3. */
export function hourAt(x, y, middle) {
  const turn = Math.atan2(x - middle.x, middle.y - y) / (2 * Math.PI);
  return onClock(Math.round((turn * 12) / STEP) * STEP);
}

/** Return an hour as a clock says it: after 12 comes 0.5, before 0.5 comes 12. */
export function onClock(hour) {
  const round = ((hour % 12) + 12) % 12;
  return round === 0 ? 12 : round;
}

const fieldOf = (hand) => document.querySelector(`.channels [name="${hand.dataset.clock}"]`);

function put(field, hour) {
  if (Number(field.value) === hour) return;
  field.value = String(hour);
  field.dispatchEvent(new Event("change", { bubbles: true })); // the server draws it anew
}

function middleOf(svg) {
  const box = svg.getBoundingClientRect();
  return { x: box.left + box.width / 2, y: box.top + box.height / 2 };
}

/** Turn a hand to an hour at once; the drawing that follows has it there. */
function turn(svg, hand, hour) {
  const { width, height } = svg.viewBox.baseVal;
  const degrees = 30 * (hour - Number(hand.getAttribute("aria-valuenow")));
  hand.setAttribute("transform", `rotate(${degrees} ${width / 2} ${height / 2})`);
}

/** Let the hands of a drawing be moved; it is drawn anew at every move, so the place around it listens. */
function movable(place) {
  let held = null; // the field of the hand that is dragged
  place.addEventListener("pointerdown", (event) => {
    const hand = event.target.closest("[data-clock]");
    held = hand && fieldOf(hand);
    if (held) event.preventDefault();
  });
  document.addEventListener("pointermove", (event) => {
    const svg = held && place.querySelector("svg");
    const hand = svg?.querySelector(`[data-clock="${held.name}"]`);
    if (!hand) return;
    const hour = hourAt(event.clientX, event.clientY, middleOf(svg));
    turn(svg, hand, hour);
    put(held, hour);
  });
  for (const end of ["pointerup", "pointercancel"])
    document.addEventListener(end, () => {
      held = null;
    });
  place.addEventListener("keydown", (event) => {
    const hand = event.target.closest("[data-clock]");
    const field = hand && fieldOf(hand);
    if (!field || !(event.key in MOVES)) return;
    event.preventDefault();
    place.dataset.keep = hand.dataset.clock;
    put(field, onClock(Number(field.value) + MOVES[event.key]));
  });
  // who moved a hand by keys goes on moving it in the new drawing
  place.addEventListener("htmx:afterSwap", () => {
    place.querySelector(`[data-clock="${place.dataset.keep}"]`)?.focus();
  });
}

const place = globalThis.document?.getElementById("drawing");
if (place) movable(place);
