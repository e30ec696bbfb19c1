// Making SVG elements.
const NS = "http://www.w3.org/2000/svg";

/** Return an element with attributes and children; text stands as its content. */
export function made(name, attributes = {}, ...inside) {
  const element = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value !== null && value !== undefined) element.setAttribute(key, value);
  }
  element.append(...inside);
  return element;
}

/** Return the path of stretches of points, each [x, y] in pixels. */
export function pathOf(stretches) {
  return stretches
    .map((points) => `M${points.map(([x, y]) => `${x.toFixed(1)} ${y.toFixed(1)}`).join("L")}`)
    .join("");
}
