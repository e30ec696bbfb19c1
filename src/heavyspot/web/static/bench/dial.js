// Where the live hand ends on the dial.

/**
 * Return the hand's end in the drawing's own units.
 *
 * `sign` is -1 where angles grow counterclockwise on the page (a clockwise rotor seen from its nut);
 * the rim stands for `rimG`, and the hand never reaches past `most` times the rim.
 */
export function handEnd(angleDeg, amplitudeG, { centre, rim, most, rimG, sign }) {
  const angle = (sign * angleDeg * Math.PI) / 180;
  const reach = rim * Math.min(most, amplitudeG / rimG);
  return { x: centre + reach * Math.sin(angle), y: centre - reach * Math.cos(angle) };
}
