// Paints a curve: axes, soaks, bands, lines, power, marks. Changes nothing of it.
import { before, columns, range, roomy, tickWords, ticks, timeTicks } from "./scale.js";
import { celsius, degrees, number, unit, watts } from "./units.js";
import { w } from "./words.js";

export const LINES = {
  chamber: { colour: "--ember", dash: [], width: 2, words: "chamber" },
  part: { colour: "--part", dash: [], width: 2, words: "part" },
  estimated: { colour: "--part", dash: [2, 4], width: 2.2, words: "part, estimated" },
  should: { colour: "--plan", dash: [9, 5], width: 1.6, words: "should be" },
  expected: { colour: "--ahead", dash: [7, 3, 2, 3], width: 2.4, words: "expected" },
};
const MARK = { trip: "--alarm", door: "--care-line", supply: "--care-line", hold: "--do", step: "--plan", note: "--plan" };

// The picture without the cursor is kept, so that reading it costs no second drawing.
export function paint(curve) {
  const { canvas } = curve, ratio = window.devicePixelRatio || 1, width = canvas.clientWidth, height = canvas.clientHeight;
  if (!width || !height) return;
  const wide = Math.round(width * ratio), high = Math.round(height * ratio), layer = (curve.layer ||= document.createElement("canvas"));
  for (const one of [canvas, layer]) if (one.width !== wide || one.height !== high) { one.width = wide; one.height = high; }
  const g = layer.getContext("2d"), style = getComputedStyle(canvas), colour = (name) => style.getPropertyValue(name).trim();
  g.setTransform(ratio, 0, 0, ratio, 0, 0); g.clearRect(0, 0, width, height);
  g.font = `${width < 420 ? 12 : 14}px system-ui, sans-serif`;
  g.lineJoin = "round"; // else noise draws spikes ten line widths long
  picture(curve, g, colour, width, height, ratio);
  paintCursor(curve);
}
export function paintCursor(curve) {
  const { canvas, layer, at } = curve;
  if (!layer?.width) return;
  const g = canvas.getContext("2d");
  g.setTransform(1, 0, 0, 1, 0, 0); g.clearRect(0, 0, canvas.width, canvas.height); g.drawImage(layer, 0, 0);
  if (!number(curve.cursor) || !at) return;
  const ratio = canvas.width / canvas.clientWidth, box = curve.box(), x = at.x(curve.cursor);
  g.setTransform(ratio, 0, 0, ratio, 0, 0); g.strokeStyle = getComputedStyle(canvas).getPropertyValue("--focus").trim(); g.lineWidth = 1.5; line(g, x, box.y, x, box.y + box.h);
}
function picture(curve, g, colour, width, height, ratio) {
  const { data } = curve, box = curve.box(), [a, b] = curve.window(), topH = box.h - box.powerH - (box.powerH ? 10 : 0);
  const lines = data.lines.filter((l) => l.time_s.length).map((l) => seen(l, a, b, Math.round(box.w * ratio)));
  const view = scaled(lines, a, b);
  const at = { g, colour, box, a, b, topH, ratio, x: (t) => box.x + ((t - a) / (b - a)) * box.w, y: (c) => box.y + topH - ((degrees(c) - view[0]) / (view[1] - view[0])) * topH };
  // For the corners that can be dragged: where they are, and what a height means.
  curve.at = { x: at.x, y: at.y, c: (y) => celsius(view[0] + ((box.y + topH - y) / topH) * (view[1] - view[0])) };
  if (!lines.length) { if (!curve.bare) nothing(at, width, height); return; }
  if (!curve.bare) axes(at, view, width);
  if (!curve.bare) marks(at, data.marks);
  g.save(); g.beginPath(); g.rect(box.x, box.y, box.w, box.h); g.clip();
  if (data.region) region(at, data.region);
  if (!curve.bare) for (const soak of data.soaks) shadeSoak(at, soak);
  for (const l of lines) if (l.low) band(at, l);
  for (const l of lines) (l.dense ? brush : stroke)(at, l, LINES[l.kind], curve.bare ? 2.4 : 1);
  if (!curve.bare) phases(at, data.phases);
  if (box.powerH) power(at, data);
  nowLine(at, curve, data);
  g.restore();
  if (box.powerH) powerWords(at, data);
  if (data.handles) handles(at, data);
}
// What is drawn of a line: its points, with one neighbour on each side; or, where there are more than pixels, the least
// and greatest value of each pixel column.
function seen(l, a, b, pixels) {
  const t = l.time_s, from = Math.max(0, before(t, a) - 1), to = Math.min(t.length, before(t, b) + 3);
  if (to - from <= pixels) {
    const cut = (values) => (values ? values.slice(from, to) : null);
    return { ...l, time_s: cut(t), values: cut(l.values), low: cut(l.low), high: cut(l.high), span: [[cut(t), cut(l.values)]] };
  }
  const of = columns(t, l.values, a, b, pixels), middles = Array.from(of.low, (_, k) => a + ((k + 0.5) * (b - a)) / pixels);
  const edge = (values, which) => (values ? Array.from(columns(t, values, a, b, pixels)[which]) : null);
  return { ...l, dense: of, time_s: middles, low: edge(l.low, "low"), high: edge(l.high, "high"), span: [[middles, of.low], [middles, of.high]] };
}
function nothing({ g, colour }, width, height) {
  g.fillStyle = colour("--faint"); g.textAlign = "center"; g.textBaseline = "middle"; g.fillText(w("The curve begins with a run."), width / 2, height / 2);
}
// Words over lines: with an edge of the paper's colour.
function words(at, text, x, y) {
  const { g, colour } = at;
  g.strokeStyle = colour("--sheet"); g.lineWidth = 4; g.setLineDash([]); g.strokeText(text, x, y); g.fillText(text, x, y);
}
// The window of temperatures, in the unit shown.
function scaled(lines, a, b) {
  return roomy(range(lines.flatMap((l) => l.span), a, b) || [20, 100]).map(degrees);
}
function axes(at, [low, high], width) {
  const { g, colour, box, topH } = at;
  g.lineWidth = 1;
  const steps = ticks(low, high, Math.min(8, Math.max(3, Math.floor(topH / 25))));
  steps.forEach((v, i) => {
    const y = box.y + topH - ((v - low) / (high - low)) * topH;
    g.strokeStyle = colour("--line"); line(g, box.x, y, box.x + box.w, y);
    g.fillStyle = colour("--faint"); g.textAlign = "right"; g.textBaseline = "middle";
    g.fillText(i === steps.length - 1 ? `${v} ${unit()}` : String(v), box.x - 6, Math.max(y, 9));
  });
  let free = -Infinity;
  for (const t of timeTicks(at.a, at.b, Math.max(2, box.w / 84))) {
    const words = tickWords(t), half = g.measureText(words).width / 2, x = Math.min(Math.max(at.x(t), box.x + half - 8), width - half - 8);
    g.strokeStyle = colour("--line"); line(g, at.x(t), box.y, at.x(t), box.y + box.h);
    if (x - half < free) continue;
    free = x + half + 10;
    g.fillStyle = colour("--faint"); g.textAlign = "center"; g.textBaseline = "top"; g.fillText(words, x, box.y + box.h + 7);
  }
}
// A soak is a shaded box of its time, as high as the band in which its time counts.
function shadeSoak(at, { from, to, at_c, within_k = 3 }) {
  const { g, colour } = at, top = Math.min(at.y(at_c + within_k), at.y(at_c) - 4), low = Math.max(at.y(at_c - within_k), at.y(at_c) + 4);
  g.globalAlpha = 0.3; g.fillStyle = colour("--glow"); g.fillRect(at.x(from), top, at.x(to) - at.x(from), low - top); g.globalAlpha = 1;
}
// Names of the phases along the lower edge, where there is room.
function phases(at, list) {
  const { g, colour, box, topH } = at;
  g.textBaseline = "bottom"; g.textAlign = "center"; g.fillStyle = colour("--faint");
  for (const { from, to, words: name } of list) {
    const left = Math.max(box.x, at.x(from)), right = Math.min(box.x + box.w, at.x(to));
    if (right - left > g.measureText(name).width + 12) words(at, name, (left + right) / 2, box.y + topH - 3);
  }
}
function band(at, l) {
  const { g, colour } = at, rows = l.time_s.map((_, i) => i).filter((i) => number(l.low[i]) && number(l.high[i]));
  if (rows.length < 2) return;
  g.globalAlpha = 0.2; g.fillStyle = colour(l.colour || LINES[l.kind].colour); g.beginPath();
  rows.forEach((i, k) => (k ? g.lineTo(at.x(l.time_s[i]), at.y(l.high[i])) : g.moveTo(at.x(l.time_s[i]), at.y(l.high[i]))));
  rows.reverse().forEach((i) => g.lineTo(at.x(l.time_s[i]), at.y(l.low[i])));
  g.fill(); g.globalAlpha = 1;
}
function stroke(at, { time_s: times, values, kind, colour }, { dash, width }, wider) {
  const { g, a, b } = at;
  g.strokeStyle = at.colour(colour || LINES[kind].colour); g.lineWidth = width * wider; g.setLineDash(dash.map((d) => d * wider)); g.beginPath();
  let pen = false;
  for (let i = 0; i < times.length; i++) {
    if (!number(values[i]) || (times[i + 1] ?? Infinity) < a || (times[i - 1] ?? -Infinity) > b) { pen = false; continue; }
    if (pen) g.lineTo(at.x(times[i]), at.y(values[i])); else g.moveTo(at.x(times[i]), at.y(values[i]));
    pen = true;
  }
  g.stroke(); g.setLineDash([]);
}
// A line of more points than pixels: in each column from its least to its greatest value, as with a brush as wide as the
// line. Such squares on whole pixels are drawn many times faster than a path that turns back in every pixel.
function brush(at, { dense, kind, colour }, { dash, width }, wider) {
  const { g, box, ratio } = at, wide = width * wider, period = dash.reduce((p, q) => p + q, 0) * wider, x0 = Math.round(box.x * ratio);
  g.save(); g.setTransform(1, 0, 0, 1, 0, 0); g.fillStyle = at.colour(colour || LINES[kind].colour);
  const half = Math.max(1, Math.round(wide * ratio)), side = Math.floor(half / 2);
  for (let k = 0; k < dense.low.length; k++) {
    const low = dense.low[k];
    if (low !== low || (period && off(dash, wider, (k / ratio) % period))) continue;
    const top = Math.round((at.y(dense.high[k]) - wide / 2) * ratio);
    g.fillRect(x0 + k - side, top, half, Math.max(half, Math.round((at.y(low) + wide / 2) * ratio) - top));
  }
  g.restore();
}
function off(dash, wider, place) {
  let end = 0;
  for (let i = 0; i < dash.length; i++) { end += dash[i] * wider; if (place < end) return i % 2 === 1; }
  return false;
}
// What this oven can follow: above it is too fast, below it falls faster than the oven cools.
function region(at, { time_s, low, high }) {
  const { g, colour } = at;
  g.globalAlpha = 0.5; g.fillStyle = colour("--good-paper"); g.beginPath();
  time_s.forEach((t, i) => (i ? g.lineTo(at.x(t), at.y(high[i])) : g.moveTo(at.x(t), at.y(high[i]))));
  for (let i = time_s.length - 1; i >= 0; i--) g.lineTo(at.x(time_s[i]), at.y(low[i]));
  g.fill(); g.globalAlpha = 1; g.strokeStyle = colour("--good"); g.lineWidth = 1.2; g.setLineDash([2, 4]); g.stroke(); g.setLineDash([]);
}
function power(at, data) {
  const { g, colour, box } = at, base = box.y + box.h;
  g.fillStyle = colour("--sheet"); g.fillRect(box.x, base - box.powerH, box.w, box.powerH);
  g.strokeStyle = colour("--line"); g.lineWidth = 1; line(g, box.x, base - box.powerH, box.x + box.w, base - box.powerH);
  for (const bar of data.bars) {
    if (!bar.time_s.length) continue;
    g.globalAlpha = bar.ahead ? 0.3 : 0.8; g.fillStyle = colour(bar.ahead ? "--ahead" : "--ember");
    const from = Math.max(0, before(bar.time_s, at.a) - 1), to = Math.min(bar.time_s.length, before(bar.time_s, at.b) + 3), pixels = Math.round(box.w * at.ratio);
    if (to - from > pixels) dutyColumns(at, columns(bar.time_s, bar.values, at.a, at.b, pixels).mean, base);
    else dutySteps(at, bar, from, to, base);
    g.globalAlpha = 1;
  }
}
function dutySteps({ g, box, x }, bar, from, to, base) {
  let last = 0;
  g.beginPath(); g.moveTo(x(bar.time_s[from]), base);
  for (let i = from; i < to; i++) {
    const v = number(bar.values[i]) ? bar.values[i] : 0;
    g.lineTo(x(bar.time_s[i]), base - last * box.powerH); g.lineTo(x(bar.time_s[i]), base - v * box.powerH); last = v;
  }
  g.lineTo(x(bar.time_s[to - 1]), base); g.fill();
}
// The mean of each pixel column: its area is the energy.
function dutyColumns({ g, box, ratio }, mean, base) {
  const x0 = Math.round(box.x * ratio), foot = Math.round(base * ratio);
  g.save(); g.setTransform(1, 0, 0, 1, 0, 0);
  mean.forEach((v, k) => { if (v > 0) { const high = Math.round(v * box.powerH * ratio); g.fillRect(x0 + k, foot - high, 1, high); } });
  g.restore();
}
function powerWords(at, data) {
  const { g, colour, box } = at;
  g.fillStyle = colour("--faint"); g.textAlign = "right"; g.textBaseline = "middle";
  g.fillText(data.full_w ? watts(data.full_w, 1) : "100 %", box.x - 6, box.y + box.h - box.powerH + 3);
  if (box.powerH > 34) g.fillText("0", box.x - 6, box.y + box.h - 4);
}
// A flag at the top for each mark; names only where they have room.
function marks(at, list) {
  const { g, colour, box, topH } = at;
  let free = -Infinity;
  const places = list.map((m) => at.x(m.time_s)), flagY = box.y - 12;
  for (const m of [...list].sort((p, q) => (q.kind === "trip") - (p.kind === "trip") || p.time_s - q.time_s)) {
    const x = at.x(m.time_s);
    if (x < box.x - 1 || x > box.x + box.w + 1) continue;
    const tone = colour(MARK[m.kind] || "--plan"), loud = m.kind === "trip";
    g.strokeStyle = tone; g.lineWidth = loud ? 2.5 : 1.2; g.setLineDash(loud ? [] : [3, 3]); line(g, x, flagY, x, box.y + topH); g.setLineDash([]);
    g.fillStyle = tone; g.beginPath(); g.moveTo(x, flagY); g.lineTo(x + 8, flagY + 5); g.lineTo(x, flagY + 10); g.fill();
    const wide = g.measureText(m.words).width, left = x + 12 + wide > box.x + box.w ? x - wide - 6 : x + 12;
    if (m.kind === "step" || left < free || (!loud && places.some((p) => p > x + 1 && p < left + wide))) continue;
    free = left + wide + 8; g.fillStyle = colour(loud ? "--ink" : "--faint"); g.textAlign = "left"; g.textBaseline = "top"; g.fillText(m.words, left, flagY - 3);
  }
}
function nowLine(at, curve, data) {
  const { g, colour, box } = at;
  if (!number(data.now)) return;
  const x = at.x(data.now), value = data.lines.find((l) => l.kind === "chamber")?.values.findLast?.(number);
  if (!curve.bare) { g.strokeStyle = colour("--ink"); g.lineWidth = 1; line(g, x, box.y, x, box.y + box.h); }
  if (number(value)) { g.fillStyle = colour("--ember"); g.strokeStyle = colour("--sheet"); g.lineWidth = 2; g.beginPath(); g.arc(x, at.y(value), 5.5, 0, 7); g.fill(); g.stroke(); }
}
// Points that a finger can drag.
function handles(at, data) {
  const { g, colour } = at;
  data.handles.forEach((h, i) => {
    g.beginPath(); g.arc(at.x(h.time_s), at.y(h.c), i === data.held ? 15 : 11, 0, 7);
    g.fillStyle = colour("--sheet"); g.fill(); g.lineWidth = 3.5; g.strokeStyle = colour("--do"); g.stroke();
  });
}
function line(g, x1, y1, x2, y2) { g.beginPath(); g.moveTo(x1, y1); g.lineTo(x2, y2); g.stroke(); }

// A plain x–y plot for the oven's page: a value with its band.
export function plot(canvas, { xs, ys, lows, highs, xWords, yWords, mark }) {
  const ratio = window.devicePixelRatio || 1, width = canvas.clientWidth, height = canvas.clientHeight;
  if (!width) return;
  canvas.width = width * ratio; canvas.height = height * ratio;
  const g = canvas.getContext("2d"), style = getComputedStyle(canvas), colour = (name) => style.getPropertyValue(name).trim();
  g.setTransform(ratio, 0, 0, ratio, 0, 0); g.font = "14px system-ui, sans-serif"; g.lineJoin = "round";
  const box = { x: 66, y: 12, w: width - 80, h: height - 56 }, top = Math.max(...(highs || ys), mark?.y || 0) * 1.08, x0 = xs[0], x1 = xs.at(-1);
  const toX = (v) => box.x + ((v - x0) / (x1 - x0)) * box.w, toY = (v) => box.y + box.h - (v / top) * box.h;
  g.fillStyle = colour("--faint"); g.strokeStyle = colour("--line");
  const rows = ticks(0, top, 4);
  rows.forEach((v, i) => { line(g, box.x, toY(v), box.x + box.w, toY(v)); g.textAlign = "right"; g.textBaseline = "middle"; g.fillText(i === rows.length - 1 ? `${v} ${yWords}` : String(v), box.x - 6, Math.max(9, toY(v))); });
  for (const v of ticks(x0, x1, 5)) { g.textAlign = "center"; g.textBaseline = "top"; g.fillText(String(v), toX(v), box.y + box.h + 6); }
  g.fillText(xWords, box.x + box.w / 2, box.y + box.h + 24);
  if (lows) { g.globalAlpha = 0.2; g.fillStyle = colour("--ember"); g.beginPath(); xs.forEach((x, i) => (i ? g.lineTo(toX(x), toY(highs[i])) : g.moveTo(toX(x), toY(highs[i])))); [...xs.keys()].reverse().forEach((i) => g.lineTo(toX(xs[i]), toY(lows[i]))); g.fill(); g.globalAlpha = 1; }
  g.strokeStyle = colour("--ember"); g.lineWidth = 2.4; g.beginPath(); xs.forEach((x, i) => (i ? g.lineTo(toX(x), toY(ys[i])) : g.moveTo(toX(x), toY(ys[i])))); g.stroke();
  if (mark) { g.strokeStyle = colour("--ink"); g.lineWidth = 1.4; g.setLineDash([6, 4]); line(g, box.x, toY(mark.y), box.x + box.w, toY(mark.y)); g.setLineDash([]); g.fillStyle = colour("--ink"); g.textAlign = "left"; g.textBaseline = "bottom"; g.fillText(mark.words, box.x + 6, toY(mark.y) - 3); }
}
