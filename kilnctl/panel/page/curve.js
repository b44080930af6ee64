// The curve: planned, measured, part with its band, where the model expects to go; duty and watts beneath. Drawn on a canvas, with zoom, pan and
// read-out by finger, mouse or keys. Lines differ in dash and width, not in colour alone, and carry their names.
import { clock, degrees, number, temperature, unit, watts } from "./units.js";

const STYLE = { plan: ["--faint", [2, 5], 2], reference: ["--faint", [9, 5], 1.6], chamber: ["--warm", [], 2.8], measured: ["--part", [], 2], part: ["--part", [2, 3], 2.4], ahead: ["--ahead", [6, 3, 2, 3], 2.2], duty: ["--warm", [], 1.4] };
const ORDER = ["chamber", "measured", "plan", "part", "ahead", "reference"];
const NAMES = { plan: "planned", reference: "should be", chamber: "chamber", measured: "part", part: "part, estimated", ahead: "expected" };

export class Curve {
  constructor(canvas, { onRead = () => {}, duty = true } = {}) {
    this.canvas = canvas; this.onRead = onRead; this.withDuty = duty;
    this.data = { now: null, columns: {}, plan: null, ahead: null, marks: [], full_w: 0 };
    this.view = null; this.cursor = null; this.pointers = new Map();
    new ResizeObserver(() => this.draw()).observe(canvas);
    canvas.addEventListener("pointerdown", (e) => { canvas.setPointerCapture(e.pointerId); this.pointers.set(e.pointerId, e.offsetX); this.moved = 0; this.read(e.offsetX); });
    canvas.addEventListener("pointermove", (e) => this.move(e));
    for (const name of ["pointerup", "pointercancel"]) canvas.addEventListener(name, (e) => this.pointers.delete(e.pointerId));
    canvas.addEventListener("pointerleave", (e) => { if (e.pointerType === "mouse") { this.cursor = null; this.onRead(""); this.draw(); } });
    // The wheel scrolls the page; with Ctrl (a pinch on a touch pad sends it too) it zooms.
    canvas.addEventListener("wheel", (e) => { if (!e.ctrlKey) return; e.preventDefault(); this.zoom(e.deltaY < 0 ? 0.8 : 1.25, this.timeAt(e.offsetX)); }, { passive: false });
    canvas.addEventListener("dblclick", () => this.all());
    canvas.addEventListener("keydown", (e) => this.key(e));
  }
  set(data) { Object.assign(this.data, data); this.draw(); }
  extent() {
    const t = this.data.columns.time_s || [], plan = this.data.plan?.columns.time_s || [];
    const ahead = this.data.ahead;
    const end = Math.max(t.at(-1) || 0, plan.at(-1) || 0, ahead ? this.data.now + (ahead.in_s.at(-1) || 0) : 0, 60);
    return [0, end * 1.02];
  }
  all() { this.view = null; this.draw(); }
  window() { return this.view || this.extent(); }
  zoom(factor, around) {
    const [a, b] = this.window(), [low, high] = this.extent(), middle = around ?? this.cursor ?? Math.min(b, Math.max(a, this.data.now ?? (a + b) / 2));
    const width = Math.max(60, (b - a) * factor);
    if (width >= high - low) return this.all();
    const left = Math.min(Math.max(low, middle - (middle - a) * (width / (b - a))), high - width);
    this.view = [left, left + width]; this.draw();
  }
  pan(seconds) {
    const [a, b] = this.window(), [low, high] = this.extent(), left = Math.min(Math.max(low, a + seconds), high - (b - a));
    this.view = [left, left + (b - a)]; this.draw();
  }
  move(e) {
    if (!this.pointers.has(e.pointerId)) { if (e.pointerType === "mouse") this.read(e.offsetX); return; }
    const before = this.pointers.get(e.pointerId), [a, b] = this.window(), perPixel = (b - a) / this.box().w;
    if (this.pointers.size === 2) {
      const other = [...this.pointers].find(([id]) => id !== e.pointerId)[1];
      const from = Math.abs(before - other), to = Math.abs(e.offsetX - other);
      if (from > 20 && to > 20) this.zoom(from / to, this.timeAt((e.offsetX + other) / 2));
    } else if (this.view) { this.pan((before - e.offsetX) * perPixel); }
    this.pointers.set(e.pointerId, e.offsetX);
    if (this.pointers.size === 1) this.read(e.offsetX);
  }
  key(e) {
    const [a, b] = this.window(), step = (b - a) / 40;
    const does = { ArrowLeft: () => this.read(null, (this.cursor ?? this.data.now ?? b) - step), ArrowRight: () => this.read(null, (this.cursor ?? this.data.now ?? a) + step),
      "+": () => this.zoom(0.7), "-": () => this.zoom(1.4), PageUp: () => this.pan(-(b - a) / 2), PageDown: () => this.pan((b - a) / 2), Home: () => this.all(), Escape: () => { this.cursor = null; this.onRead(""); this.draw(); } }[e.key];
    if (does) { e.preventDefault(); does(); }
  }
  box() { const narrow = this.canvas.clientWidth < 520; return { x: narrow ? 48 : 62, y: 14, w: this.canvas.clientWidth - (narrow ? 56 : 74), h: this.canvas.clientHeight - 14 - 26 }; }
  timeAt(x) { const { x: left, w } = this.box(), [a, b] = this.window(); return a + ((x - left) / w) * (b - a); }
  read(x, time) {
    const { columns, plan } = this.data, [a, b] = this.window();
    this.cursor = Math.min(b, Math.max(a, time ?? this.timeAt(x)));
    const words = [clock(this.cursor)];
    const i = nearest(columns.time_s, this.cursor);
    if (i !== null && this.cursor <= (columns.time_s.at(-1) || 0) + 30) {
      words.push(`chamber ${temperature(columns.chamber_c[i], 1)}`);
      if (number(columns.reference_c[i])) words.push(`should be ${temperature(columns.reference_c[i], 1)}`);
      if (number(columns.part_c?.[i])) words.push(`part ${temperature(columns.part_c[i], 1)}`);
      if (number(columns.part_estimate_c?.[i])) words.push(`part, estimated ${temperature(columns.part_estimate_c[i])}`);
      if (number(columns.duty[i])) words.push(`${(100 * columns.duty[i]).toFixed(0)} %` + (this.data.full_w ? `, ${watts(columns.duty[i] * this.data.full_w)}` : ""));
    } else if (plan) {
      const k = nearest(plan.columns.time_s, this.cursor);
      if (k !== null) words.push(`planned ${temperature(plan.columns.chamber_c[k])}`);
    }
    this.onRead(words.join(" · ")); this.draw();
  }
  draw() {
    const canvas = this.canvas, ratio = window.devicePixelRatio || 1, width = canvas.clientWidth, height = canvas.clientHeight;
    if (!width || !height) return;
    if (canvas.width !== Math.round(width * ratio) || canvas.height !== Math.round(height * ratio)) { canvas.width = Math.round(width * ratio); canvas.height = Math.round(height * ratio); }
    const g = canvas.getContext("2d"), colour = (name) => getComputedStyle(canvas).getPropertyValue(name).trim();
    g.setTransform(ratio, 0, 0, ratio, 0, 0); g.clearRect(0, 0, width, height);
    g.font = `${width < 520 ? 12 : 13}px system-ui, sans-serif`;
    const box = this.box(), dutyH = this.withDuty ? Math.max(36, box.h * 0.17) : 0, topH = box.h - dutyH - (dutyH ? 12 : 0);
    const [a, b] = this.window(), toX = (t) => box.x + ((t - a) / (b - a)) * box.w;
    const d = this.data, c = d.columns, lines = [];
    // At most as many points as the screen can show: a run of days is drawn as quickly as a run of minutes.
    const put = (kind, times, values) => { if (!times?.length || !values) return; const at = kept(times, values, a, b, box.w); lines.push([kind, at.map((i) => times[i]), at.map((i) => values[i])]); };
    if (d.plan) put("plan", d.plan.columns.time_s, d.plan.columns.chamber_c);
    if (c.time_s) { put("reference", c.time_s, c.reference_c); put("part", c.time_s, c.part_estimate_c); if (c.part_c?.some(number)) put("measured", c.time_s, c.part_c); }
    if (d.ahead) put("ahead", d.ahead.in_s.map((t) => d.now + t), d.ahead.chamber_c);
    if (c.time_s) put("chamber", c.time_s, c.chamber_c);
    let low = Infinity, high = -Infinity;
    for (const [, t, v] of lines) for (let i = 0; i < t.length; i++) if (number(v[i]) && t[i] >= a && t[i] <= b) { low = Math.min(low, v[i]); high = Math.max(high, v[i]); }
    if (low > high) { low = 20; high = 100; }
    low = degrees(low); high = degrees(high); const pad = Math.max(2, (high - low) * 0.08); low -= pad; high += pad;
    const toY = (v) => box.y + topH - ((degrees(v) - low) / (high - low)) * topH;
    g.lineWidth = 1;
    for (const v of ticks(low, high, Math.max(3, topH / 60))) {
      const y = box.y + topH - ((v - low) / (high - low)) * topH;
      g.strokeStyle = colour("--line"); line(g, box.x, y, box.x + box.w, y);
      g.fillStyle = colour("--faint"); g.textAlign = "right"; g.textBaseline = "middle"; g.fillText(String(Math.round(v * 10) / 10), box.x - 6, y);
    }
    g.textAlign = "left"; g.fillText(unit(), 4, 9);
    for (const t of timeTicks(a, b, Math.max(2, box.w / 90))) {
      g.strokeStyle = colour("--line"); line(g, toX(t), box.y, toX(t), box.y + box.h);
      g.fillStyle = colour("--faint"); g.textAlign = "center"; g.textBaseline = "top"; const words = tickWords(t, b - a), half = g.measureText(words).width / 2;
      g.fillText(words, Math.min(toX(t), width - half - 2), box.y + box.h + 5);
    }
    g.lineJoin = "round"; // else noise draws spikes ten line widths long
    g.save(); g.beginPath(); g.rect(box.x, box.y, box.w, box.h); g.clip();
    for (const [from, to, phase] of d.plan?.stretches || []) if (phase === "soak") {
      // Soaks are hatched on the plan, so that they show without colour.
      g.strokeStyle = colour("--line"); for (let x = toX(from); x < toX(to); x += 9) line(g, x, box.y, x, box.y + topH);
    }
    if (c.part_sd_k && c.time_s) {
      const at = kept(c.time_s, c.part_estimate_c, a, b, box.w), of = (values) => at.map((i) => values[i]);
      band(g, of(c.time_s), of(c.part_estimate_c), of(c.part_sd_k), of(c.part_c || []), toX, toY, colour("--part"), a, b);
    }
    for (const [kind, times, values] of lines) stroke(g, times, values, toX, toY, colour(STYLE[kind][0]), STYLE[kind][1], STYLE[kind][2], a, b);
    if (dutyH) {
      const base = box.y + box.h, dutyY = (v) => base - v * dutyH;
      g.fillStyle = colour("--paper"); g.fillRect(box.x, base - dutyH, box.w, dutyH);
      g.strokeStyle = colour("--line"); line(g, box.x, base - dutyH, box.x + box.w, base - dutyH);
      const fill = (every, all, style, alpha) => { if (!every?.length) return; const at = kept(every, all, a, b, box.w), times = at.map((i) => every[i]), values = at.map((i) => all[i]); if (!at.length) return; g.globalAlpha = alpha; g.fillStyle = style; g.beginPath(); g.moveTo(toX(times[0]), base); let last = 0; for (let i = 0; i < times.length; i++) { const v = number(values[i]) ? values[i] : 0; g.lineTo(toX(times[i]), dutyY(last)); g.lineTo(toX(times[i]), dutyY(v)); last = v; } g.lineTo(toX(times.at(-1)), base); g.fill(); g.globalAlpha = 1; };
      fill(d.plan?.columns.time_s, d.plan?.columns.duty || [], colour("--faint"), 0.22);
      fill(c.time_s, c.duty || [], colour("--warm"), 0.75);
    }
    for (const mark of d.marks) { g.setLineDash([3, 3]); g.strokeStyle = colour("--alarm"); g.lineWidth = 2; line(g, toX(mark.time_s), box.y, toX(mark.time_s), box.y + topH); g.setLineDash([]); g.fillStyle = colour("--alarm"); g.textAlign = "left"; g.textBaseline = "top"; g.fillText(mark.words, Math.min(toX(mark.time_s) + 4, box.x + box.w - g.measureText(mark.words).width - 2), box.y + 22); }
    if (number(d.now)) { g.strokeStyle = colour("--ink"); g.lineWidth = 1; line(g, toX(d.now), box.y, toX(d.now), box.y + box.h); }
    if (number(this.cursor)) { g.strokeStyle = colour("--part"); g.lineWidth = 1.5; line(g, toX(this.cursor), box.y, toX(this.cursor), box.y + box.h); }
    g.restore();
    if (dutyH) { g.fillStyle = colour("--faint"); g.textAlign = "right"; g.textBaseline = "top"; g.fillText("100 %", box.x - 6, box.y + box.h - dutyH); g.textBaseline = "bottom"; g.fillText("duty", box.x - 6, box.y + box.h); }
    let x = box.x + 6; // names, each next to a sample of its line
    g.textBaseline = "middle"; g.textAlign = "left";
    for (const [kind] of [...lines].sort((p, q) => ORDER.indexOf(p[0]) - ORDER.indexOf(q[0]))) {
      const words = NAMES[kind], wide = g.measureText(words).width;
      if (x + wide + 34 > box.x + box.w) break;
      const y = box.y + topH - 10; g.fillStyle = colour("--sheet"); g.fillRect(x - 2, y - 8, wide + 34, 16);
      g.strokeStyle = colour(STYLE[kind][0]); g.lineWidth = STYLE[kind][2]; g.setLineDash(STYLE[kind][1]); line(g, x, y, x + 24, y); g.setLineDash([]);
      g.fillStyle = colour("--ink"); g.fillText(words, x + 28, y); x += wide + 44;
    }
  }
}
function line(g, x1, y1, x2, y2) { g.beginPath(); g.moveTo(x1, y1); g.lineTo(x2, y2); g.stroke(); }
function stroke(g, times, values, toX, toY, colour, dash, width, a, b) {
  g.strokeStyle = colour; g.lineWidth = width; g.setLineDash(dash); g.beginPath(); let pen = false;
  for (let i = 0; i < times.length; i++) {
    if (!number(values[i])) { pen = false; continue; }
    if ((times[i + 1] ?? Infinity) < a || (times[i - 1] ?? -Infinity) > b) { pen = false; continue; }
    if (pen) g.lineTo(toX(times[i]), toY(values[i])); else g.moveTo(toX(times[i]), toY(values[i]));
    pen = true;
  }
  g.stroke(); g.setLineDash([]);
}
// Twice the standard deviation; if the part is measured, at least as wide as the estimate's error.
function band(g, times, middle, deviation, measured, toX, toY, colour, a, b) {
  const sd = deviation.map((s, i) => (number(measured[i]) && number(middle[i]) ? Math.max(s, Math.abs(measured[i] - middle[i]) / 2) : s));
  const at = times.map((t, i) => i).filter((i) => number(middle[i]) && number(sd[i]) && times[i] >= a - 60 && times[i] <= b + 60);
  if (at.length < 2) return;
  g.globalAlpha = 0.16; g.fillStyle = colour; g.beginPath();
  at.forEach((i, k) => (k ? g.lineTo(toX(times[i]), toY(middle[i] + 2 * sd[i])) : g.moveTo(toX(times[i]), toY(middle[i] + 2 * sd[i]))));
  at.reverse().forEach((i) => g.lineTo(toX(times[i]), toY(middle[i] - 2 * sd[i]))); g.fill(); g.globalAlpha = 1;
}
// Indices of the rows to draw between a and b, with one neighbour on each side: per pixel the first, least, greatest //
// and last value.
export function kept(times, values, a, b, pixels) {
  const from = Math.max(0, (before(times, a) ?? 0) - 1), to = Math.min(times.length - 1, (before(times, b) ?? 0) + 2), out = [];
  if (to - from <= 4 * pixels) { for (let i = from; i <= to; i++) out.push(i); return out; }
  const perPixel = (b - a) / pixels; let column = null, first = from, least = from, most = from;
  const put = (last) => { for (const i of [...new Set([first, least, most, last])].sort((p, q) => p - q)) out.push(i); };
  for (let i = from; i <= to; i++) {
    const here = Math.floor((times[i] - a) / perPixel);
    if (here !== column) { if (column !== null) put(i - 1); column = here; first = least = most = i; }
    if (!(values[i] >= values[least])) least = i;
    if (!(values[i] <= values[most])) most = i;
  }
  put(to);
  return out;
}
function before(times, t) {
  let low = 0, high = times.length - 1;
  while (high - low > 1) { const m = (low + high) >> 1; if (times[m] <= t) low = m; else high = m; }
  return low;
}
function nearest(times, t) {
  if (!times?.length) return null;
  let low = 0, high = times.length - 1;
  while (high - low > 1) { const m = (low + high) >> 1; if (times[m] <= t) low = m; else high = m; }
  return Math.abs(times[low] - t) <= Math.abs(times[high] - t) ? low : high;
}
export function ticks(low, high, wanted) {
  const raw = (high - low) / Math.max(1, wanted), power = 10 ** Math.floor(Math.log10(raw)), step = [1, 2, 5, 10].map((m) => m * power).find((s) => s >= raw * 0.999), out = [];
  for (let v = Math.ceil(low / step) * step; v <= high; v += step) out.push(v);
  return out;
}
function timeTicks(a, b, wanted) {
  const step = [10, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400].find((s) => (b - a) / s <= wanted) || 86400, out = [];
  for (let t = Math.ceil(a / step) * step; t <= b; t += step) out.push(t);
  return out;
}
// One form along the axis: hours and minutes, or minutes and seconds where it is short.
function tickWords(t, whole) {
  const units = whole > 900 ? [3600, 60, "h"] : [60, 1, "min"], [large, small, name] = units;
  return `${Math.floor(t / large)}:${String(Math.floor((t % large) / small)).padStart(2, "0")} ${name}`;
}
// A plain x–y plot for the oven's page: a value with its band.
export function plot(canvas, xs, ys, lows, highs, xWords, yWords, mark) {
  const ratio = window.devicePixelRatio || 1, width = canvas.clientWidth, height = canvas.clientHeight;
  if (!width) return;
  canvas.width = width * ratio; canvas.height = height * ratio;
  const g = canvas.getContext("2d"), colour = (name) => getComputedStyle(canvas).getPropertyValue(name).trim();
  g.setTransform(ratio, 0, 0, ratio, 0, 0); g.font = "13px system-ui, sans-serif";
  const box = { x: 62, y: 12, w: width - 76, h: height - 52 }, high = Math.max(...(highs || ys), mark?.y || 0) * 1.05, x0 = Math.min(...xs), x1 = Math.max(...xs);
  const toX = (v) => box.x + ((v - x0) / (x1 - x0)) * box.w, toY = (v) => box.y + box.h - (v / high) * box.h;
  g.fillStyle = colour("--faint");
  for (const v of ticks(0, high, 5)) { g.strokeStyle = colour("--line"); line(g, box.x, toY(v), box.x + box.w, toY(v)); g.textAlign = "right"; g.textBaseline = "middle"; g.fillText(String(Math.round(v)), box.x - 6, toY(v)); }
  for (const v of ticks(x0, x1, 6)) { g.textAlign = "center"; g.textBaseline = "top"; g.fillText(String(Math.round(v)), toX(v), box.y + box.h + 5); }
  g.fillText(xWords, box.x + box.w / 2, box.y + box.h + 22); g.textAlign = "left"; g.fillText(yWords, 4, 0);
  if (lows) { g.globalAlpha = 0.2; g.fillStyle = colour("--warm"); g.beginPath(); xs.forEach((x, i) => (i ? g.lineTo(toX(x), toY(highs[i])) : g.moveTo(toX(x), toY(highs[i])))); [...xs.keys()].reverse().forEach((i) => g.lineTo(toX(xs[i]), toY(lows[i]))); g.fill(); g.globalAlpha = 1; }
  stroke(g, xs, ys, toX, toY, colour("--warm"), [], 2.4, -Infinity, Infinity);
  if (mark) { g.strokeStyle = colour("--ink"); g.setLineDash([6, 4]); line(g, box.x, toY(mark.y), box.x + box.w, toY(mark.y)); g.setLineDash([]); g.fillStyle = colour("--ink"); g.textBaseline = "bottom"; g.fillText(mark.words, box.x + 6, toY(mark.y) - 3); }
}
