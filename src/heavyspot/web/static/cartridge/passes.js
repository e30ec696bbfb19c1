// Passes of runs made ready to draw.

/**
 * Return one speed axis for all passes and each pass's values on it, null where it has none.
 * Each pass is {speed_rpm: [...], [key]: [...]}.
 */
export function onOneAxis(passes, key) {
  const speeds = [...new Set(passes.flatMap((pass) => pass.speed_rpm))].sort((a, b) => a - b);
  const rows = passes.map((pass) => {
    const at = new Map(pass.speed_rpm.map((speed, i) => [speed, pass[key][i]]));
    return speeds.map((speed) => at.get(speed) ?? null);
  });
  return [speeds, ...rows];
}

/** Return how a pass is drawn: up solid, down dashed, another run's dotted. */
export function passLook(pass, another, colour) {
  if (another) return { stroke: colour("next"), width: 2.5, dash: [3, 5] };
  if (pass.direction === "up") return { stroke: colour("ink"), width: 3 };
  return { stroke: colour("faded"), width: 2, dash: [8, 4] };
}
