// Reading a chart: values under a pointer, a finger or the arrow keys, the same place on every chart of a page.
import { valueAt } from "./scale.js";
import { made } from "./svg.js";

const MOVED = "chart-read";
const KEY_STEPS = 100;

/** Return the values at x in words: `104,150 rpm: run 2 0.61 g, limit 0.50 g`. */
export function valuesAt(spec, x) {
  const parts = [];
  for (const line of [...spec.lines, ...(spec.limit ? [spec.limit] : [])]) {
    const value = valueAt(line.points, x);
    if (value !== null) parts.push(`${line.name} ${value.toFixed(spec.y.decimals ?? 2)} ${spec.y.unit}`);
  }
  return `${spec.x.read(x)}: ${parts.join(", ")}`;
}

/** Return the rows of a table of everything drawn: x, then each line's value, "" where it has none. */
export function rowsOf(spec, count = 51) {
  const lines = [...spec.lines, ...(spec.limit ? [spec.limit] : [])];
  const low = spec.x.low ?? 0;
  const rows = [[spec.x.title, ...lines.map((l) => `${l.name}, ${spec.y.unit}`)]];
  for (let i = 0; i < count; i += 1) {
    const x = low + ((spec.x.high - low) * i) / (count - 1);
    const values = lines.map((l) => valueAt(l.points, x));
    if (values.some((v) => v !== null))
      rows.push([spec.x.cell(x), ...values.map((v) => (v === null ? "" : v.toFixed(4)))]);
  }
  return rows;
}

export class Reader {
  #x = null;
  #from = null;

  constructor(chart) {
    this.chart = chart;
    const { box } = chart;
    box.tabIndex = 0;
    box.setAttribute("role", "group");
    this.words = document.createElement("output");
    this.words.className = "read";
    this.words.hidden = true;
    box.append(this.words);
    box.addEventListener("pointerdown", (event) => this.#press(event));
    box.addEventListener("pointermove", (event) => this.#tell(this.#under(event)));
    box.addEventListener("pointerup", (event) => this.#release(event));
    box.addEventListener("pointerleave", () => this.#tell(null));
    box.addEventListener("dblclick", () => chart.zoom());
    box.addEventListener("keydown", (event) => this.#key(event));
    box.addEventListener("blur", () => this.#tell(null));
    document.addEventListener(MOVED, (event) => this.#show(event.detail));
  }

  #under(event) {
    return this.chart.spec
      ? this.chart.at(event.clientX - this.chart.box.getBoundingClientRect().left)
      : null;
  }

  #press(event) {
    if (event.pointerType === "mouse") this.#from = this.#under(event);
  }

  #release(event) {
    const to = this.#under(event);
    const [low, high] = this.chart.spec ? this.chart.range : [0, 1];
    if (this.#from !== null && Math.abs(to - this.#from) > 0.03 * (high - low))
      this.chart.zoom([Math.min(this.#from, to), Math.max(this.#from, to)]);
    this.#from = null;
  }

  #key(event) {
    if (!this.chart.spec) return;
    const [low, high] = this.chart.range;
    const step = ((high - low) / KEY_STEPS) * (event.shiftKey ? 10 : 1);
    const moves = { ArrowRight: step, ArrowLeft: -step };
    if (event.key in moves) {
      const x = Math.min(Math.max((this.#x ?? low) + moves[event.key], low), high);
      this.words.setAttribute("aria-live", "polite");
      this.#tell(x);
    } else if (event.key === "+") this.#closer(this.#x ?? (low + high) / 2, (high - low) / 4);
    else if (event.key === "-" || event.key === "0") this.chart.zoom();
    else return;
    event.preventDefault();
  }

  #closer(middle, half) {
    this.chart.zoom([Math.max(middle - half, 0), middle + half]);
  }

  #tell(x) {
    const unit = this.chart.spec?.x.unit;
    if (unit) document.dispatchEvent(new CustomEvent(MOVED, { detail: { x, unit } }));
  }

  #show({ x, unit }) {
    if (!this.chart.spec || this.chart.spec.x.unit !== unit) return;
    this.#x = x;
    this.words.hidden = x === null;
    if (x !== null) this.words.textContent = valuesAt(this.chart.spec, x);
    this.over(this.chart.box.querySelector("svg"));
  }

  /** Draw the reading line over a chart. */
  over(svg) {
    svg?.querySelector(".reading-line")?.remove();
    if (!svg || this.#x === null) return;
    const at = this.chart.x(this.#x);
    svg.append(
      made("line", { class: "reading-line", x1: at, x2: at, y1: this.chart.head, y2: this.chart.foot }),
    );
  }
}
