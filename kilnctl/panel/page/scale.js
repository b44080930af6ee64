// Ticks, their words, thinning and look-up: pure functions of the curve, without a canvas.

const TIMES = [10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 10800, 21600, 43200, 86400, 172800, 604800];
const HOUR = 3600, DAY = 86400;

// Round values between low and high, at most `most` of them and at least half as many: each a whole multiple of 1, 2, 5
// or, above ten, 25 times a power of ten.
export function ticks(low, high, most) {
  if (!(high > low)) return [low];
  const power = 10 ** Math.floor(Math.log10((high - low) / Math.max(1, most))), out = [];
  const count = (s) => Math.floor(high / s + 1e-9) - Math.ceil(low / s - 1e-9) + 1;
  const step = [1, 2, ...(power >= 10 ? [2.5] : []), 5, 10, 20].map((m) => m * power).find((s) => count(s) <= most);
  for (let k = Math.ceil(low / step - 1e-9); k * step <= high + 1e-9 * step; k++) out.push(Number((k * step).toPrecision(12)));
  return out;
}
export function timeTicks(a, b, most) {
  const step = TIMES.find((s) => (b - a) / s <= most) || TIMES.at(-1), out = [];
  for (let t = Math.ceil(a / step) * step; t <= b; t += step) out.push(t);
  return out;
}
// Every label carries its unit, so that two minutes and two hours never look alike.
export function tickWords(t) {
  const s = Math.round(t), two = (n) => String(n).padStart(2, "0");
  if (s === 0) return "0";
  if (s < 60) return `${s} s`;
  if (s < HOUR) return s % 60 ? `${Math.floor(s / 60)}:${two(s % 60)} min` : `${s / 60} min`;
  const past = s % HOUR ? ` ${two(Math.floor((s % HOUR) / 60))}${s % 60 ? `:${two(s % 60)}` : ""}` : "", hours = Math.floor((s % DAY) / HOUR);
  return s < DAY ? `${hours} h${past}` : `${Math.floor(s / DAY)} d${hours || past ? ` ${hours} h${past}` : ""}`;
}
// Least and greatest of the values at times from a to b, by a loop: a spread of a long run's values overflows the stack.
export function range(lines, a, b) {
  let low = Infinity, high = -Infinity;
  for (const [times, values] of lines) {
    for (let i = 0; i < times.length; i++) {
      const v = values[i];
      if (typeof v !== "number" || !(times[i] >= a && times[i] <= b)) continue;
      if (v < low) low = v;
      if (v > high) high = v;
    }
  }
  return low > high ? null : [low, high];
}
// A little room above and below, and never so little span that a sensor's noise fills the picture.
export function roomy([low, high], least = 6) {
  const middle = (low + high) / 2, half = Math.max(least, high - low) / 2;
  return [middle - half * 1.1, middle + half * 1.14];
}
export function before(times, t) {
  let low = 0, high = times.length - 1;
  while (high - low > 1) { const m = (low + high) >> 1; if (times[m] <= t) low = m; else high = m; }
  return low;
}
export function nearest(times, t) {
  if (!times?.length) return null;
  const low = before(times, t), high = Math.min(times.length - 1, low + 1);
  return Math.abs(times[low] - t) <= Math.abs(times[high] - t) ? low : high;
}
// The value at time t on the straight line between its neighbours; null outside and in gaps.
export function between(times, values, t) {
  if (!times?.length || t < times[0] || t > times.at(-1)) return null;
  const i = before(times, t), k = Math.min(times.length - 1, i + 1), u = values[i], v = values[k];
  if (typeof u !== "number") return typeof v === "number" && times[k] === t ? v : null;
  if (typeof v !== "number" || times[k] === times[i]) return u;
  return u + ((t - times[i]) / (times[k] - times[i])) * (v - u);
}
// Indices of the rows to draw between a and b, with one neighbour on each side: per pixel the first, least, greatest
// and last value, so that a run of days is drawn as quickly as a run of minutes, and no peak is lost.
export function kept(times, values, a, b, pixels) {
  const from = Math.max(0, before(times, a) - 1), to = Math.min(times.length - 1, before(times, b) + 2), out = [];
  if (to - from <= 4 * pixels) { for (let i = from; i <= to; i++) out.push(i); return out; }
  const perPixel = (b - a) / pixels;
  let column = null, first = from, least = from, most = from;
  const put = (last) => {
    const [p, q] = least < most ? [least, most] : [most, least];
    out.push(first);
    if (p > first) out.push(p);
    if (q > p && q > first) out.push(q);
    if (last > q && last > first) out.push(last);
  };
  for (let i = from; i <= to; i++) {
    const here = Math.floor((times[i] - a) / perPixel);
    if (here !== column) { if (column !== null) put(i - 1); column = here; first = least = most = i; }
    if (!(values[i] >= values[least])) least = i;
    if (!(values[i] <= values[most])) most = i;
  }
  put(to);
  return out;
}
// Per pixel column between times a and b: least, greatest and mean value, each joined to the column before it, so that a
// line drawn from them has no holes; NaN where there is none. Kept for as long as neither values nor window change:
// `values` only ever grows.
const drawn = new WeakMap();
export function columns(times, values, a, b, pixels) {
  const key = `${times.length} ${values.length} ${a} ${b} ${pixels}`, old = drawn.get(values);
  if (old?.key === key) return old;
  const low = new Float64Array(pixels).fill(NaN), high = new Float64Array(pixels).fill(NaN), mean = new Float64Array(pixels).fill(NaN);
  const count = Math.min(times.length, values.length), perPixel = (b - a) / pixels;
  let i = 0, last = NaN, lastTime = a;
  if (count && times[0] < a) { i = before(times, a) + 1; lastTime = times[i - 1]; last = typeof values[i - 1] === "number" ? values[i - 1] : NaN; }
  // On the straight line from the last value to the next one.
  const at = (t) => last + ((t - lastTime) / (times[i] - lastTime)) * (values[i] - last);
  for (let k = 0; k < pixels; k++) {
    const begin = a + k * perPixel, end = begin + perPixel;
    let least = Infinity, most = -Infinity, sum = 0, n = 0;
    const put = (v) => { if (v < least) least = v; if (v > most) most = v; };
    const joined = () => i < count && last === last && typeof values[i] === "number";
    if (joined()) {
      put(at(Math.max(begin, lastTime)));
      if (!(times[i] < end)) { sum = at(begin + perPixel / 2); n = 1; }
    }
    for (; i < count && times[i] < end; i++) {
      const v = values[i];
      lastTime = times[i];
      if (typeof v !== "number") { last = NaN; continue; }
      if (v < least) least = v;
      if (v > most) most = v;
      sum += v; n += 1; last = v;
    }
    if (!n) continue;
    if (joined()) put(at(end));
    low[k] = least; high[k] = most; mean[k] = sum / n;
  }
  const made = { key, low, high, mean };
  drawn.set(values, made);
  return made;
}
// The whole expectation of a run: its plan moved so that it goes on from here. A difference at this moment fades in five
// minutes. `spread`: how much longer or shorter heating up may take, as a share: it moves the band's two edges in time.
const FADES_S = 300;
export function outlook(plan, look, now, chamber) {
  if (!plan || !look || typeof chamber !== "number") return null;
  const t = plan.columns.time_s, c = plan.columns.chamber_c, out = { time_s: [now], chamber_c: [chamber], low: [chamber], high: [chamber] };
  const there = between(t, c, look.plan_s), off = typeof there === "number" ? chamber - there : 0;
  let warming = 0;
  for (let i = t.length ? before(t, look.plan_s) : 0; i < t.length; i++) {
    if (!(t[i] > look.plan_s) || typeof c[i] !== "number") continue;
    const gone = t[i] - look.plan_s, fade = off * Math.exp(-gone / FADES_S);
    if (c[i] > (c[i - 1] ?? c[i]) + 1e-6) warming = gone;
    const late = (look.spread || 0) * Math.min(warming, gone), v = c[i] + fade;
    const one = (between(t, c, t[i] - late) ?? c[i]) + fade, other = (between(t, c, Math.min(t.at(-1), t[i] + late)) ?? c[i]) + fade;
    out.time_s.push(now + gone); out.chamber_c.push(v);
    out.low.push(Math.min(v, one, other) - 0.5); out.high.push(Math.max(v, one, other) + 0.5);
  }
  return out;
}
