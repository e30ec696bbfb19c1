// Numbers and colours on a page, in one place.

/**
 * Return a number as people read it, "–" where there is none.
 * `scale` turns a share into per cent, `step` rounds to what the eye can follow.
 */
export function shown(value, { digits = 0, scale = 1, step = 0 } = {}) {
  if (!Number.isFinite(value)) return "–";
  const scaled = value * scale;
  const rounded = step ? Math.round(scaled / step) * step : scaled;
  return rounded.toLocaleString("en-US", { minimumFractionDigits: digits, maximumFractionDigits: digits });
}

/** Return the page's colours by name, as they are now: light or dark. */
export function colours() {
  const style = getComputedStyle(document.documentElement);
  return (name) => style.getPropertyValue(`--${name}`).trim();
}

/** Return "5" for 5,000: a tick of an axis in thousands. */
export function inThousands(value) {
  return (value / 1000).toFixed(0);
}
