// The speed-frequency map: time to the right, frequency upwards, lines at orders of the speed.
import { colours } from "../page/show.js";

const ORDERS = [0.5, 1, 2, 3];

/** Return the axes of a map from its headers; no speed is null. */
export function mapAxes(headers) {
  const speeds = headers.get("X-Speed-Hz").split(",");
  return {
    rows: Number(headers.get("X-Rows")),
    columns: Number(headers.get("X-Columns")),
    topHz: Number(headers.get("X-Highest-Hz")),
    speedHz: speeds.map((text) => (text ? Number(text) : null)),
  };
}

/** Return red, green and blue of "#rrggbb". */
export function rgb(colour) {
  return [1, 3, 5].map((at) => Number.parseInt(colour.slice(at, at + 2), 16));
}

/**
 * Return the map's pixels, four bytes each, the first row on top.
 * `levels` holds a spectrum a row (0 quiet, 255 loud); the picture stands them upright, low at the foot.
 */
export function mapPixels(levels, { rows, columns }, quiet, loud) {
  const pixels = new Uint8ClampedArray(4 * rows * columns);
  for (let t = 0; t < rows; t++) {
    for (let f = 0; f < columns; f++) {
      const share = levels[t * columns + f] / 255;
      const at = 4 * ((columns - 1 - f) * rows + t);
      for (let c = 0; c < 3; c++) pixels[at + c] = quiet[c] + share * (loud[c] - quiet[c]);
      pixels[at + 3] = 255;
    }
  }
  return pixels;
}

/** Return the line of an order as runs of points [share of width, share of height from the foot]. */
export function orderLine(order, { rows, topHz, speedHz }) {
  const pieces = [];
  let open = null;
  speedHz.forEach((speed, t) => {
    const hz = speed === null ? null : order * speed;
    if (hz === null || hz > topHz) {
      open = null;
      return;
    }
    if (!open) {
      open = [];
      pieces.push(open);
    }
    open.push([(t + 0.5) / rows, hz / topHz]);
  });
  return pieces;
}

/** Return the row whose speed is nearest, -1 when none has a speed. */
export function nearestRow(speedHz, wantedHz) {
  let best = -1;
  speedHz.forEach((hz, t) => {
    if (hz === null) return;
    if (best < 0 || Math.abs(hz - wantedHz) < Math.abs(speedHz[best] - wantedHz)) best = t;
  });
  return best;
}

/** Return the speed, rpm, at so many places from the first row to the last; null where none is known. */
export function speedsAlong({ rows, speedHz }, places) {
  return Array.from({ length: places }, (_, i) => {
    const hz = speedHz[Math.round((i * (rows - 1)) / (places - 1))];
    return hz === null || hz === undefined ? null : 60 * hz;
  });
}

/** Return where a finding's evidence lies on the map, as shares, or null when it has no place there. */
export function findingPlace({ evidence }, { rows, topHz, speedHz }) {
  const { speed_rpm: rpm, frequency_hz, order } = evidence;
  if (!rpm) return null;
  const hz = frequency_hz || (order ? (order * rpm) / 60 : 0);
  const row = nearestRow(speedHz, rpm / 60);
  if (!hz || hz > topHz || row < 0) return null;
  return [(row + 0.5) / rows, hz / topHz];
}

/** Draw a map with its orders, and the findings' numbers where their evidence is. */
export function drawMap(canvas, levels, axes, findings) {
  const colour = colours();
  canvas.width = canvas.clientWidth * devicePixelRatio;
  canvas.height = canvas.clientHeight * devicePixelRatio;
  const pen = canvas.getContext("2d");
  const pixels = mapPixels(levels, axes, rgb(colour("map-quiet")), rgb(colour("map-loud")));
  pen.drawImage(painted(pixels, axes), 0, 0, canvas.width, canvas.height);
  const line = colour("map-line");
  Object.assign(pen, { strokeStyle: line, fillStyle: line, lineWidth: 1.5 * devicePixelRatio });
  pen.font = `bold ${18 * devicePixelRatio}px sans-serif`;
  for (const order of ORDERS) drawOrder(pen, order, axes);
  pen.setLineDash([]);
  findings.forEach((finding, i) => {
    const place = findingPlace(finding, axes);
    if (place) drawFinding(pen, i + 1, onCanvas(pen.canvas, place));
  });
}

function painted(pixels, { rows, columns }) {
  const paper = document.createElement("canvas");
  paper.width = rows;
  paper.height = columns;
  paper.getContext("2d").putImageData(new ImageData(pixels, rows, columns), 0, 0);
  return paper;
}

function onCanvas({ width, height }, [right, up]) {
  return [right * width, height * (1 - up)];
}

function drawOrder(pen, order, axes) {
  pen.setLineDash(order === 1 ? [] : [6, 6]);
  pen.beginPath();
  for (const piece of orderLine(order, axes)) {
    piece.forEach((point, i) => {
      const [x, y] = onCanvas(pen.canvas, point);
      if (i) pen.lineTo(x, y);
      else pen.moveTo(x, y);
    });
  }
  pen.stroke();
}

function drawFinding(pen, number, [x, y]) {
  pen.beginPath();
  pen.arc(x, y, 14 * devicePixelRatio, 0, 2 * Math.PI);
  pen.stroke();
  pen.fillText(number, x + 18 * devicePixelRatio, y - 8 * devicePixelRatio);
}
