// The curve of a run or of a plan, on a canvas: what was measured, what should be, what is expected to the end with its
// band; power beneath. Zoom and pan; read by mouse, finger or keys. Lines differ in dash and width, not in colour alone.
// Names and read-out stand above the canvas, so that nothing covers the data. `draw.js` paints, `scale.js` counts.
import { LINES, paint, paintCursor } from "./draw.js";
import { between, nearest } from "./scale.js";
import { clock, number, temperature, watts } from "./units.js";
import { w } from "./words.js";

const SHORTEST_S = 60;

export class Curve {
  constructor(canvas, { onRead = () => {}, legend = null, power = true, bare = false } = {}) {
    this.canvas = canvas; this.onRead = onRead; this.legend = legend; this.power = power; this.bare = bare;
    // `lines`: {kind, time_s, values, low, high, words, colour}; `soaks`: {from, to, at_c}; `marks`: {time_s, kind, words}.
    this.data = { now: null, lines: [], soaks: [], phases: [], marks: [], bars: [], region: null, full_w: 0 };
    this.view = null; this.cursor = null; this.pointers = new Map(); this.onDrag = null; this.onView = null;
    new ResizeObserver(() => this.draw()).observe(canvas);
    if (!bare) this.listen();
  }
  listen() {
    const canvas = this.canvas;
    canvas.addEventListener("pointerdown", (e) => {
      if (this.grab(e)) return;
      canvas.setPointerCapture?.(e.pointerId); this.pointers.set(e.pointerId, e.offsetX); this.read(e.offsetX);
    });
    canvas.addEventListener("pointermove", (e) => this.move(e));
    for (const name of ["pointerup", "pointercancel"]) canvas.addEventListener(name, (e) => { this.pointers.delete(e.pointerId); this.drop(e); });
    // A finger on a corner drags it, elsewhere it scrolls the page.
    canvas.addEventListener("touchstart", (e) => { if (this.data.held !== undefined) e.preventDefault(); }, { passive: false });
    canvas.addEventListener("pointerleave", (e) => { if (e.pointerType === "mouse") this.leave(); });
    canvas.addEventListener("blur", () => this.leave());
    // The wheel scrolls the page; with Ctrl (a pinch on a touch pad sends it too) it zooms.
    canvas.addEventListener("wheel", (e) => {
      if (!e.ctrlKey) return;
      e.preventDefault(); this.zoom(e.deltaY < 0 ? 0.8 : 1.25, this.timeAt(e.offsetX));
    }, { passive: false });
    canvas.addEventListener("dblclick", () => this.all());
    canvas.addEventListener("keydown", (e) => this.key(e));
  }
  set(data) { Object.assign(this.data, data); this.names(); this.draw(); }
  extent() {
    let end = SHORTEST_S, start = Infinity;
    for (const { time_s } of this.data.lines) {
      if (!time_s.length) continue;
      end = Math.max(end, time_s.at(-1)); start = Math.min(start, time_s[0]);
    }
    start = Number.isFinite(start) ? Math.min(0, start) : 0;
    return [start, start + (end - start) * 1.015];
  }
  all() { this.view = null; this.draw(); }
  window() { return this.view || this.extent(); }
  zoom(factor, around) {
    const [a, b] = this.window(), [low, high] = this.extent();
    const middle = around ?? this.cursor ?? Math.min(b, Math.max(a, this.data.now ?? (a + b) / 2));
    const width = Math.max(SHORTEST_S, (b - a) * factor);
    if (width >= high - low) { this.all(); return; }
    const left = Math.min(Math.max(low, middle - (middle - a) * (width / (b - a))), high - width);
    this.view = [left, left + width]; this.draw();
  }
  pan(seconds) {
    const [a, b] = this.window(), [low, high] = this.extent(), left = Math.min(Math.max(low, a + seconds), high - (b - a));
    this.view = [left, left + (b - a)]; this.draw();
  }
  // The corner below a finger, if corners can be dragged.
  grab(e) {
    const near = (this.data.handles || []).map((h, i) => [Math.hypot(this.at.x(h.time_s) - e.offsetX, this.at.y(h.c) - e.offsetY), i]).sort((p, q) => p[0] - q[0])[0];
    if (!this.onDrag || !near || near[0] > 26) return false;
    this.canvas.setPointerCapture?.(e.pointerId);
    this.data.held = near[1]; this.origin = { ...this.data.handles[near[1]] };
    return true;
  }
  drag(e, over) {
    const c = this.at.c(e.offsetY), time_s = this.timeAt(e.offsetX), h = this.data.handles[this.data.held];
    if (h.soak) h.time_s = time_s; else h.c = c;
    this.onDrag(this.origin, time_s, c, over); this.draw();
  }
  drop(e) { if (this.data.held === undefined) return; this.drag(e, true); this.data.held = undefined; this.onRead(""); this.draw(); }
  move(e) {
    if (this.data.held !== undefined) { this.drag(e, false); return; }
    if (!this.pointers.has(e.pointerId)) { if (e.pointerType === "mouse") this.read(e.offsetX); return; }
    const old = this.pointers.get(e.pointerId), [a, b] = this.window();
    if (this.pointers.size === 2) {
      const other = [...this.pointers].find(([id]) => id !== e.pointerId)[1];
      const from = Math.abs(old - other), to = Math.abs(e.offsetX - other);
      if (from > 20 && to > 20) this.zoom(from / to, this.timeAt((e.offsetX + other) / 2));
    } else if (this.view) { this.pan((old - e.offsetX) * ((b - a) / this.box().w)); }
    this.pointers.set(e.pointerId, e.offsetX);
    if (this.pointers.size === 1) this.read(e.offsetX);
  }
  key(e) {
    const [a, b] = this.window(), step = (b - a) / 40;
    const does = {
      ArrowLeft: () => this.readAt((this.cursor ?? this.data.now ?? b) - step), ArrowRight: () => this.readAt((this.cursor ?? this.data.now ?? a) + step),
      "+": () => this.zoom(0.7), "-": () => this.zoom(1.4), PageUp: () => this.pan(-(b - a) / 2), PageDown: () => this.pan((b - a) / 2),
      Home: () => this.all(), Escape: () => this.leave(),
    }[e.key];
    if (does) { e.preventDefault(); does(); }
  }
  // The plot inside its axes: as many digits fit at the left as temperatures need.
  box() {
    const { clientWidth: width, clientHeight: height } = this.canvas, narrow = width < 420;
    if (this.bare) return { x: 0, y: 4, w: width, h: height - 4, powerH: 0 };
    const y = this.data.marks.length ? 20 : 8, box = { x: narrow ? 46 : 58, y, w: width - (narrow ? 54 : 70), h: height - y - 26 }; // names of marks stand above
    box.powerH = this.power && this.data.bars.length ? Math.max(26, box.h * 0.15) : 0;
    return box;
  }
  timeAt(x) { const { x: left, w: wide } = this.box(), [a, b] = this.window(); return a + ((x - left) / wide) * (b - a); }
  leave() { if (this.cursor === null) return; this.cursor = null; this.onRead(""); paintCursor(this); }
  read(x) { this.readAt(this.timeAt(x)); }
  readAt(time) {
    const [a, b] = this.window(), said = [];
    this.cursor = Math.min(b, Math.max(a, time));
    for (const one of this.data.lines) {
      const value = between(one.time_s, one.values, this.cursor);
      if (number(value)) said.push(`${one.words || w(LINES[one.kind].words)} ${temperature(value, one.kind === "expected" ? 0 : 1)}`);
    }
    const bar = this.data.bars.at(-1), i = bar ? nearest(bar.time_s, this.cursor) : null;
    if (i !== null && number(bar.values[i]) && this.cursor <= bar.time_s.at(-1) + 30) said.push(this.data.full_w ? watts(bar.values[i] * this.data.full_w) : `${Math.round(100 * bar.values[i])} %`);
    const [from, to] = [this.cursor - (b - a) / 80, this.cursor + (b - a) / 80];
    said.push(...this.data.marks.filter((m) => m.time_s >= from && m.time_s <= to).map((m) => m.words));
    this.onRead([clock(this.cursor), ...said].join(" · ")); paintCursor(this);
  }
  // The names of the lines, each next to a sample of it.
  names() {
    if (!this.legend) return;
    const key = this.data.lines.map((l) => `${l.kind}${l.words || ""}${l.colour || ""}`).join() + w("chamber");
    if (this.named === key) return;
    this.named = key;
    this.legend.replaceChildren(...[...this.data.lines].reverse().map((l) => {
      const style = LINES[l.kind], item = document.createElement("li"), ns = "http://www.w3.org/2000/svg", svg = document.createElementNS(ns, "svg"), line = document.createElementNS(ns, "line");
      for (const [k, v] of Object.entries({ x1: 0, x2: 26, y1: 5, y2: 5, "stroke-width": style.width + 0.6, "stroke-dasharray": style.dash.join(" ") })) line.setAttribute(k, v);
      line.style.stroke = `var(${l.colour || style.colour})`; svg.setAttribute("aria-hidden", "true"); svg.append(line);
      item.append(svg, l.words || w(style.words));
      return item;
    }));
  }
  draw() { this.onView?.(!!this.view); paint(this); }
}
