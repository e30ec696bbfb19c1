// The one chart: lines against a limit, drawn in true pixels, so that 20 px text is 20 px.
//
// Ink is measured, pencil is expected, vermilion is over the limit: thicker and hatched too, so that no colour
// is needed to read it.
import { onLevel, placed } from "./labels.js";
import { Reader } from "./reader.js";
import { niceStep, spacedStep, stretches, ticks, tickText, topFor, valueAt } from "./scale.js";
import { made, pathOf } from "./svg.js";

const FONT_PX = 20;
const MARGIN = { left: 62, right: 18, top: 14, bottom: 62 };
const LOW = 150;
const LOW_BOTTOM = 32;
const CHARACTER = 0.5; // of the font's size, on average
let count = 0;

export class Chart {
  #spec = null;
  #zoom = null;

  /** `big` enlarges the text, for a screen across the room. */
  constructor(box, { big = 1 } = {}) {
    this.box = box;
    this.big = big;
    count += 1;
    this.id = `chart-${count}`;
    this.reader = new Reader(this);
    new ResizeObserver(() => this.redraw()).observe(box);
  }

  get spec() {
    return this.#spec;
  }

  /**
   * Draw what a spec says: { x, y, limit, tiers, band, lines, marks, watermark }. `y` may have a `low` other
   * than 0, or be `log`; a mark is a number at a place of the lying axis.
   */
  draw(spec) {
    this.#spec = spec;
    this.redraw();
  }

  /** Show from `low` to `high` of the lying axis only; nothing shows all. */
  zoom(range = null) {
    this.#zoom = range;
    this.redraw();
  }

  get range() {
    return this.#zoom ?? [this.#spec.x.low ?? 0, this.#spec.x.high];
  }

  redraw() {
    const { clientWidth: width, clientHeight: height } = this.box;
    if (!this.#spec || width < 120 || height < 60) return;
    this.#measure(width, height);
    const svg = made("svg", {
      class: "chart",
      width,
      height,
      viewBox: `0 0 ${width} ${height}`,
      "aria-hidden": "true",
    });
    this.taken = [];
    svg.append(...this.#axes(), ...this.#watermark(), this.#clips());
    const drawn = made("g", { "clip-path": `url(#${this.id}-plot)` });
    drawn.append(...this.#band(), ...this.#before(), ...this.#limits(), ...this.#measured());
    svg.append(drawn, ...this.#marks(), ...this.#tabs(), ...this.#tips(), ...this.#words());
    this.reader.over(svg);
    this.box.querySelector("svg")?.remove();
    this.box.prepend(svg);
  }

  #measure(width, height) {
    const { y, limit, lines } = this.#spec;
    const k = this.big;
    const measured = lines.filter((l) => l.look !== "expect").flatMap((l) => l.points);
    const highest = y.highest ?? Math.max(0, ...measured.map((p) => p[1] ?? 0));
    this.top = y.high ?? topFor(highest, limit ? Math.min(...limit.points.map((p) => p[1])) : null);
    this.bottom = y.low ?? 0;
    this.step = niceStep(this.top - this.bottom);
    const longest = Math.max(...this.#upright().map(([, words]) => words.length));
    const wide = Math.max(0, longest - 4) * 0.5 * FONT_PX + (longest > 3 ? 16 : 0);
    this.left = (MARGIN.left + wide) * k;
    this.right = width - MARGIN.right * k;
    this.head = MARGIN.top * k;
    this.low = height < LOW * k; // no room for the titles of the axes: the ticks and the limit stay
    this.foot = height - (this.low ? LOW_BOTTOM : MARGIN.bottom) * k;
    this.width = width;
    this.height = height;
    this.px = FONT_PX * k;
  }

  x(value) {
    const [low, high] = this.range;
    return this.left + ((this.right - this.left) * (value - low)) / (high - low);
  }

  y(value) {
    const share = Math.min(Math.max(this.#share(value), -0.02), 1.04);
    return this.foot - (this.foot - this.head) * share;
  }

  #share(value) {
    if (!this.#spec.y.log) return (value - this.bottom) / (this.top - this.bottom);
    return Math.log(Math.max(value, this.bottom) / this.bottom) / Math.log(this.top / this.bottom);
  }

  /** The upright axis's ticks, each with its figures. */
  #upright() {
    if (!this.#spec.y.log) {
      return ticks(this.bottom, this.top, this.step).map((v) => [v, tickText(v, this.step)]);
    }
    const tens = Math.round(Math.log10(this.top / this.bottom));
    return Array.from({ length: tens + 1 }, (_, i) => this.bottom * 10 ** i).map((v) => [v, tickText(v, v)]);
  }

  /** Return the value of the lying axis under a pixel. */
  at(px) {
    const [low, high] = this.range;
    const share = (px - this.left) / (this.right - this.left);
    return low + Math.min(Math.max(share, 0), 1) * (high - low);
  }

  #on(points) {
    return stretches(points).map((stretch) => stretch.map(([a, b]) => [this.x(a), this.y(b)]));
  }

  #text(x, y, look, words, more = {}) {
    return made("text", { class: look, x, y, "font-size": this.px, ...more }, words);
  }

  #axes() {
    const { x, y } = this.#spec;
    const out = [];
    for (const [value, words] of this.#upright()) {
      const at = this.y(value);
      const look = Math.abs(value - Math.max(0, this.bottom)) < 1e-12 ? "base" : "grid";
      out.push(made("line", { class: look, x1: this.left, x2: this.right, y1: at, y2: at }));
      const apart = y.log ? this.px : this.y(this.bottom) - this.y(this.bottom + this.step);
      const room = apart > 0.9 * this.px || value === 0;
      if (!room) continue; // a low chart: the limit's tab says what counts
      out.push(this.#text(this.left - 9, at + 0.35 * this.px, "tick", words, { "text-anchor": "end" }));
    }
    const [low, high] = this.range;
    const step = spacedStep(high - low, this.right - this.left, 74 * this.big);
    for (const value of ticks(low, high, step)) {
      const at = this.x(value);
      out.push(made("line", { class: "tk", x1: at, x2: at, y1: this.foot, y2: this.foot + 6 }));
      const words = x.tick ? x.tick(value) : tickText(value, step);
      const middle = { "text-anchor": "middle" };
      out.push(this.#text(at, this.foot + 6 + 1.02 * this.px, "tick", words, middle));
    }
    if (this.low) return out;
    const across = (this.left + this.right) / 2;
    const up = (this.head + this.foot) / 2;
    out.push(this.#text(across, this.height - 6 * this.big, "axis", x.title, { "text-anchor": "middle" }));
    const turned = `translate(${0.86 * this.px} ${up}) rotate(-90)`;
    out.push(this.#text(0, 0, "axis", y.title, { transform: turned, "text-anchor": "middle" }));
    return out;
  }

  #watermark() {
    const { watermark } = this.#spec;
    if (!watermark) return [];
    const x = (this.left + this.right) / 2;
    const y = (this.head + this.foot) / 2;
    const more = { "text-anchor": "middle", transform: `rotate(-14 ${x} ${y})`, "font-size": 2.6 * this.px };
    return [this.#text(x, y, "wm", watermark, more)];
  }

  /** The plot, and the part of it above the limit, as clips. */
  #clips() {
    const defs = made("defs");
    const plot = { x: this.left, y: 0, width: this.right - this.left + 6, height: this.foot + 4 };
    defs.append(made("clipPath", { id: `${this.id}-plot` }, made("rect", plot)));
    const limit = this.#spec.limit;
    if (limit) {
      const line = limit.points.map(([a, b]) => `${this.x(a)},${this.y(b)}`).join(" ");
      const above = `${line} ${this.width + 50},${this.y(limit.points.at(-1)[1])} ${this.width + 50},-50 -50,-50`;
      const whole = `${above} -50,${this.y(limit.points[0][1])}`;
      defs.append(made("clipPath", { id: `${this.id}-over` }, made("polygon", { points: whole })));
    }
    return defs;
  }

  #band() {
    const band = this.#spec.band;
    if (!band) return [];
    const high = this.#on(band.high);
    const low = this.#on(band.low);
    const out = high.map((up, i) => {
      const around = [...up, ...[...(low[i] ?? [])].reverse()];
      const points = around.map((p) => p.join(",")).join(" ");
      return made("polygon", { class: "band", fill: "url(#pencil)", points });
    });
    for (const edge of [high, low]) out.push(made("path", { class: "bandedge", d: pathOf(edge) }));
    return out;
  }

  #before() {
    return this.#spec.lines
      .filter((line) => line.look !== "now")
      .map((line) => made("path", { class: line.look, d: pathOf(this.#on(line.points)) }));
  }

  #limits() {
    const { limit, tiers = [] } = this.#spec;
    const out = tiers.map((tier) => made("path", { class: "vg", d: pathOf(this.#on(tier.points)) }));
    if (limit) out.push(made("path", { class: "limit", d: pathOf(this.#on(limit.points)) }));
    return out;
  }

  #measured() {
    const out = [];
    for (const line of this.#spec.lines.filter((l) => l.look === "now")) {
      const path = pathOf(this.#on(line.points));
      if (this.#spec.limit) {
        for (const stretch of this.#on(line.points)) {
          const closed = `${pathOf([stretch])}L${stretch.at(-1)[0]} ${this.foot}L${stretch[0][0]} ${this.foot}Z`;
          out.push(made("path", { d: closed, fill: "url(#excess)", "clip-path": `url(#${this.id}-over)` }));
        }
      }
      out.push(made("path", { class: "now", d: path }));
      if (this.#spec.limit)
        out.push(made("path", { class: "now hot", d: path, "clip-path": `url(#${this.id}-over)` }));
    }
    return out;
  }

  /** Numbers at places of the lying axis: what was found there. */
  #marks() {
    const out = [];
    (this.#spec.marks ?? []).forEach(({ x, word }, i) => {
      const [low, high] = this.range;
      if (x < low || x > high) return;
      const at = this.x(x);
      const y = this.head + this.px * (1 + (i % 3));
      out.push(made("line", { class: "found", x1: at, x2: at, y1: this.head, y2: this.foot }));
      out.push(this.#text(at + 5, y, "foundt", word));
      this.taken.push({ left: at - 3, right: at + 5 + this.px, top: y - this.px, bottom: y + 4 });
    });
    return out;
  }

  /** The limit's black tab with its value, and the names of the further tiers. */
  #tabs() {
    const { limit, tiers = [] } = this.#spec;
    if (!limit) return [];
    const out = [];
    const start = this.range[0];
    const y = this.y(valueAt(limit.points, start) ?? limit.points[0][1]);
    const box = this.#onLevel(limit.word, { height: 1.32 * this.px, y, gap: 4, inset: 8, more: 16 });
    const { left: x, right, top, bottom } = box;
    out.push(made("rect", { class: "tab", x, y: top, width: right - x, height: bottom - top }));
    const middle = { "text-anchor": "middle" };
    out.push(this.#text((x + right) / 2, top + this.px, "tabt", limit.word, middle));
    this.taken.push({ ...box, top: Math.min(top, y), bottom: Math.max(bottom, y) });
    for (const tier of tiers) {
      const at = this.y(valueAt(tier.points, start) ?? tier.points[0][1]);
      if (at - y < 1.6 * this.px || this.foot - at < 1.4 * this.px) continue;
      const place = this.#onLevel(tier.word, { height: this.px, y: at, gap: 6, inset: 12, more: 0 });
      out.push(this.#text(place.left, place.bottom, "vgt", tier.word));
      this.taken.push(place);
    }
    return out;
  }

  /** Where words on a level line stand; while a curve grows they keep still at the left. */
  #onLevel(word, { height, y, gap, inset, more }) {
    const { band, lines } = this.#spec;
    const width = word.length * this.px * CHARACTER + more;
    const grows = lines.some((l) => l.tip);
    const drawn = grows ? [] : [...lines, band && { points: band.high }, band && { points: band.low }];
    return onLevel({
      ...{ width, height, y, gap, inset, taken: grows ? [] : this.taken },
      lines: drawn.filter(Boolean).map((l) => this.#onPage(l.points)),
      room: { left: this.left, right: this.right, top: this.head, bottom: this.foot },
    });
  }

  /** The end of a line that still grows. */
  #tips() {
    const out = [];
    for (const line of this.#spec.lines.filter((l) => l.tip && l.points.length)) {
      const end = line.points.reduce((a, b) => (b[0] > a[0] ? b : a));
      const [x, y] = [this.x(end[0]), this.y(end[1])];
      out.push(made("circle", { class: "tip", cx: x, cy: y, r: 9 * this.big }));
      this.taken.push({ left: x - 12, right: x + 12, top: y - 12, bottom: y + 12 });
    }
    return out;
  }

  /** The upper right corner: for words that must stand. */
  #corner({ width, height, room }) {
    const top = room.top + 4;
    return { left: room.right - width - 50, right: room.right - 50, top, bottom: top + height };
  }

  #words() {
    if (this.foot - this.head < 80) return [];
    const { band, lines } = this.#spec;
    const named = band?.word ? [...lines, { points: band.high, word: band.word, look: "worst" }] : lines;
    const out = [];
    for (const line of named.filter((l) => l.word && l.points.length)) {
      const want = this.#want(line);
      const box = placed(want) ?? (line.look === "worst" ? this.#corner(want) : null);
      if (!box) continue;
      this.taken.push(box);
      out.push(this.#text(box.left + 3, box.bottom - 0.28 * this.px, LOOKS[line.look], line.word));
    }
    return out;
  }

  /** What the words of a line ask for: their size, and what they are to keep clear of. */
  #want(line) {
    const { band, lines, limit } = this.#spec;
    const drawn = [...lines, limit, band && { points: band.high }, band && { points: band.low }];
    const others = drawn.filter((l) => l && l.points !== line.points);
    return {
      width: line.word.length * this.px * CHARACTER + 6,
      height: 1.15 * this.px,
      own: this.#onPage(line.points),
      lines: others.map((l) => this.#onPage(l.points)),
      taken: this.taken,
      room: { left: this.left, right: this.right, top: this.head, bottom: this.foot },
      near: line.tip ? this.x(Math.max(...line.points.map((p) => p[0]))) - 24 : null,
    };
  }

  #onPage(points) {
    return (px) => {
      const value = valueAt(points, this.at(px));
      return value === null ? null : this.y(value);
    };
  }
}

const LOOKS = { now: "lab", before: "labp", expect: "labp", worst: "labh", good: "labg" };
