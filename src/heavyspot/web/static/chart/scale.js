// Axes of a chart: steps that people count in, tops chosen by what was measured and what is allowed.
const STEPS = [-6, -5, -4, -3, -2, -1, 0, 1, 2].flatMap((ten) =>
  (ten === -1 ? [1, 2, 2.5, 5] : [1, 2, 5]).map((step) => Number(`${step}e${ten}`)),
);
const MOST_TICKS = 5.2;
const ROOM_ABOVE = 1.08;
const LEAST_TOP = 1.5; // of the limit

/** Return the step of an upright axis that reaches to `top`. */
export function niceStep(top) {
  return STEPS.find((step) => top / step <= MOST_TICKS) ?? top / 5;
}

/** Return the top of an upright axis: above the highest measured, the limit always well in sight. */
export function topFor(highest, limit) {
  const wanted = Math.max(ROOM_ABOVE * (highest ?? 0), LEAST_TOP * (limit ?? 0)) || 1;
  const half = niceStep(wanted) / 2;
  return Math.ceil(wanted / half - 1e-9) * half;
}

/** Return the ticks from `low` to `high`, each a multiple of the step. */
export function ticks(low, high, step) {
  const out = [];
  for (let k = Math.ceil(low / step - 1e-9) || 0; k * step <= high + 1e-9 * step; k += 1) out.push(k * step);
  return out;
}

/** Return a step for a lying axis of `span` over so many pixels, each tick with room for its figures. */
export function spacedStep(span, pixels, room = 74) {
  const most = Math.max(2, Math.floor(pixels / room));
  for (let ten = 10 ** Math.floor(Math.log10(span / most)); ; ten *= 10) {
    const step = [1, 2, 2.5, 5].map((s) => s * ten).find((s) => span / s <= most);
    if (step) return step;
  }
}

/** Return a tick's figures: as many decimals as its step has. */
export function tickText(value, step) {
  if (Math.abs(value) < 1e-12) return "0";
  const decimals = [0, 1, 2, 3, 4, 5, 6].find(
    (d) => Math.abs(step * 10 ** d - Math.round(step * 10 ** d)) < 1e-9,
  );
  return value.toFixed(decimals ?? 3);
}

/** Return the value of a line at x, by a straight line between its points; null outside it or in a gap. */
export function valueAt(points, x) {
  let low = 0;
  let high = points.length - 1;
  if (high < 0 || x < points[0][0] || x > points[high][0]) return null;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (points[middle][0] <= x) low = middle;
    else high = middle;
  }
  const [x0, y0] = points[low];
  const [x1, y1] = points[high];
  if (y0 === null || y1 === null) return null;
  return x1 === x0 ? y0 : y0 + ((y1 - y0) * (x - x0)) / (x1 - x0);
}

/** Return points cut into stretches without gaps. */
export function stretches(points) {
  const out = [];
  let open = null;
  for (const point of points) {
    if (point[1] === null || point[1] === undefined) open = null;
    else if (open) open.push(point);
    else {
      open = [point];
      out.push(open);
    }
  }
  return out;
}

/** Return an angle as a curve that never jumps: each value by whole turns next to the one before; gaps stay. */
export function unwrapped(points) {
  let before = null;
  return points.map(([x, deg]) => {
    if (deg === null || deg === undefined) return [x, null];
    const near = before === null ? deg : deg + 360 * Math.round((before - deg) / 360);
    before = near;
    return [x, near];
  });
}
