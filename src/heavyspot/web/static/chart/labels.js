// Where the words of a chart stand: beside their line, clear of the other lines and of each other.
const PLACES = [0.8, 0.7, 0.6, 0.5, 0.9, 0.4, 0.3];
const AWAY = 10;
const STEP = 12;
const CLEAR = 8;
const LEAST_FAR = -14; // a line may run behind a word, whose halo keeps it readable

const overlap = (a, b) =>
  a.left < b.right + 6 && b.left < a.right + 6 && a.top < b.bottom + 2 && b.top < a.bottom + 2;

/** Return how far a box keeps from the lines in the columns it covers; below 0 when one runs through it. */
export function clearance(box, lines) {
  let least = 60;
  for (const at of lines) {
    for (let x = box.left; x < box.right + STEP; x += STEP) {
      const y = at(Math.min(x, box.right));
      if (y !== null) least = Math.min(least, Math.max(box.top - y, y - box.bottom));
    }
  }
  return least;
}

/**
 * Return the box of a label: { left, right, top, bottom }.
 *
 * `own` gives the y of its line at an x, `lines` those of all others, `taken` are boxes that stand already,
 * `room` the plot, `near` an x to stay near; null when nowhere is free.
 */
export function placed({ width, height, own, lines, taken, room, near = null }) {
  const free = ({ top, bottom, ...box }) =>
    top >= room.top && bottom <= room.bottom - 2 && !taken.some((t) => overlap({ top, bottom, ...box }, t));
  let best = null;
  for (const box of boxes(width, height, own, room, near).filter(free)) {
    const far = clearance(box, [own, ...lines]) - (best ? 3 : 0); // an earlier place wins when all are alike
    if (far > LEAST_FAR && (!best || far > best.far)) best = { box, far };
  }
  return best?.box ?? null;
}

/**
 * Return the box of words that stand on a level line of their own at `y`, `gap` above it: as far left as the curves
 * in `lines` leave room, below it where they leave none above; where they leave most when nowhere is free.
 */
export function onLevel({ lines, taken, room, ...words }) {
  const along = alongLevel(words, room);
  let best = null;
  for (const box of along.filter((b) => !taken.some((t) => overlap(b, t)))) {
    const far = clearance(box, lines);
    if (far >= CLEAR) return box;
    if (!best || far > best.far + 3) best = { box, far };
  }
  return best?.box ?? along[0];
}

/** Return the boxes that words on a level line could stand in, from the left, those above it first. */
function alongLevel({ width, height, y, gap, inset }, room) {
  const left = room.left + inset;
  const steps = Math.max(1, Math.ceil((room.right - 4 - width - left) / STEP));
  const tops = [y - height - gap, y + gap].filter((t) => t >= room.top && t + height <= room.bottom - 2);
  return (tops.length ? tops : [y - height - gap]).flatMap((top) =>
    Array.from({ length: steps }, (_, i) => ({
      ...{ left: left + i * STEP, right: left + i * STEP + width },
      ...{ top, bottom: top + height },
    })),
  );
}

/** Return the boxes a label could stand in: above and below its line, at each of the places. */
function boxes(width, height, own, room, near) {
  const places = PLACES.map((share) => room.left + share * (room.right - room.left));
  return (near === null ? places : [near, near - 40, near - 80]).flatMap((middle) => {
    const y = own(middle);
    if (y === null) return [];
    const left = Math.min(Math.max(middle - width / 2, room.left + 4), room.right - width - 4);
    const at = (top) => ({ left, right: left + width, top, bottom: top + height });
    return [at(y - AWAY - height), at(y + AWAY)];
  });
}
