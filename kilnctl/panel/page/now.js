// The page "Now": the curve, the state in words, the next milestones, the safety chain, where the watts go, what happened.
import { ask, element, outcome, post } from "./ask.js";
import { Chain } from "./chain.js";
import { Curve } from "./curve.js";
import { Flow, sums } from "./flow.js";
import { kept, outlook } from "./scale.js";
import { at, clock, degrees, fixed, inUnit, kwh, money, number, span, temperature, unit, watts } from "./units.js";
import { told, w } from "./words.js";

const $ = (id) => document.getElementById(id);
const STATES = { idle: "At rest", "start test": "Testing relay and sensor", purge: "Airing before the heat", "heat up": "Heating up", ramp: "Rising as planned", soak: "Soaking", cooling: "Cooling, heat off", finished: "Finished", held: "Held here", tripped: "Heat is cut", starting: "Starting", learning: "Learning the oven" };
export const PHASES = { "heat up": "heat up", ramp: "ramp", soak: "soak", cooling: "cool" };
// Most rows that a page keeps; above that they are thinned to half. Every line is drawn from them each second.
const MOST_ROWS = 12000;
// What a person asked for is called as on its button.
const ASKED = { hold: "hold", proceed: "Go on", skip: "Next step", soak: "Soak longer", stop: "stop" };
export const MARKS = { trip: () => "trip", door: (words) => (words.includes("opened") ? "door open" : "door shut"), request: (words) => ASKED[words.split(",")[0]] || words.split(",")[0] };

export class Now {
  constructor() {
    this.columns = {}; this.plan = null; this.said = null; this.day_j = 0;
    this.curve = new Curve($("curve"), { legend: $("legend"), onRead: (words) => { $("readout").textContent = words; } });
    this.chain = new Chain($("chain"), $("chain-why")); this.flow = new Flow($("flow"));
    $("zoom-in").addEventListener("click", () => this.curve.zoom(0.6));
    $("zoom-out").addEventListener("click", () => this.curve.zoom(1.7));
    $("zoom-all").addEventListener("click", () => this.curve.all());
    this.curve.onView = (zoomed) => { $("zoom-all").hidden = !zoomed; };
  }
  redraw() { this.curve.draw(); }
  shown() { requestAnimationFrame(() => this.curve.draw()); }
  // Thin evenly over the whole run; keep the rows with the lowest and highest chamber temperature.
  thin() {
    const times = this.columns.time_s, keep = kept(times, this.columns.chamber_c, times[0], times.at(-1), MOST_ROWS / 8);
    for (const [name, values] of Object.entries(this.columns)) this.columns[name] = keep.map((i) => values[i]);
  }
  // Add the new rows to the present columns.
  take(said) {
    const { whole, columns } = said.curve;
    if (whole) this.columns = columns;
    else for (const [name, values] of Object.entries(columns)) { const all = (this.columns[name] ||= []); for (const v of values) all.push(v); }
    if ((this.columns.time_s?.length || 0) > MOST_ROWS) this.thin();
    if (said.planned) this.plan = said.planned;
    if (said.plan === null && !said.status.running && !this.columns.time_s?.length) this.plan = null;
    if (whole && said.plan === null) this.plan = null;
    return said;
  }
  headline(s) {
    if (s.danger) return seen(s.danger);
    if (s.running && s.door_open && !s.trips?.length) return w("Door open");
    if (s.state === "start test" && /purging/.test(s.reason || "")) return w(STATES.purge);
    return !s.running && s.waiting && !s.trips?.length ? w("A start waits") : w(STATES[s.state] || s.state || "");
  }
  heard(said) {
    this.said = said;
    const s = said.status, tripped = !!s.trips?.length;
    $("state").replaceChildren(this.headline(s), ...(s.schedule ? [element("span", {}, ` · ${s.schedule}`)] : []));
    $("state").dataset.care = String(!!s.running && !!s.door_open && !tripped && !s.danger);
    $("chamber").replaceChildren(number(s.chamber_c) ? fixed(degrees(s.chamber_c), s.chamber_c < 1000 ? 1 : 0) : "", element("small", {}, number(s.chamber_c) ? ` ${unit()}` : w("no reading")));
    $("reason").textContent = inUnit(tripped || !s.running || said.chain?.why?.includes((s.reason || "").replace("start test: waiting, ", "")) ? "" : s.reason);
    $("hot").hidden = !s.notice; $("hot").textContent = inUnit(s.notice || "");
    this.heat(s, said.chain);
    this.times(said, tripped);
    this.facts(s);
    this.flow.show({ ledger: s.running ? s.ledger_w || {} : {}, supply: s.running ? Object.values(s.ledger_w || {}).reduce((a, v) => a + v, 0) : 0, door: !!s.door_open, more: sums(s.energy_j || 0, this.day_j + (s.energy_j || 0), said.price) });
    if (said.chain) this.chain.heard(said.chain);
    this.log(said.events || []);
    $("hold").hidden = !!s.held || !s.running; $("proceed").hidden = !s.held; $("skip").hidden = $("soak").hidden = !s.running;
    for (const id of ["hold", "proceed", "skip", "soak"]) $(id).disabled = !s.running || tripped;
    this.curve.set(this.picture(said, tripped));
    $("zoom-in").hidden = $("zoom-out").hidden = !this.curve.data.lines.length;
    const next = said.milestones?.[0];
    $("curve-words").textContent = `${w("chamber")} ${temperature(s.chamber_c, 1)}`.replace(/^./, (x) => x.toUpperCase()) + (number(s.reference_c) && !tripped ? `, ${w("should be")} ${temperature(s.reference_c, 1)}` : "") + (next ? `; ${milestone(next)} ${w("in {time}", { time: clock(next.in_s) })}` : "") + `. ${w("Arrow keys read the curve, plus and minus zoom.")}`;
  }
  // With the link of the chain that refuses it, so that a person at a small screen need not look for it.
  heat(s, chain) {
    const refusing = s.danger || !s.running ? null : chain?.links.find((l) => l.state === "refusing"), why = s.door_open ? w("door open") + (this.said.door?.is_open ? `, ${clock(this.said.door.open_s)}` : "") : refusing ? w(refusing.name) : "";
    const on = !!s.running && !!s.contactor && s.duty > 0, full = s.full_w || 0, bar = element("i", {});
    bar.style.width = `${Math.round(100 * (s.duty || 0))}%`;
    const words = on ? w("Heat on, {watts}", { watts: watts(s.duty * full) }) : s.danger ? w("Heat cannot be cut") : w("Heat off");
    $("heat").dataset.on = String(on);
    $("heat").replaceChildren(words, ...(on ? [element("span", { class: "bar-of", "aria-hidden": "true" }, bar)] : []), ...(on || !why ? [] : [element("span", { class: "because" }, why)]));
  }
  times(said, tripped) {
    const s = said.status, next = said.milestones?.[0], end = said.milestones?.at(-1), rows = [];
    // With the door open nothing of this comes true until it is shut.
    if (next && !s.door_open) rows.push([milestone(next), clock(next.in_s)]);
    if (end) rows.push([s.door_open ? w("done, if shut now") : w("all done"), element("span", {}, clock(end.in_s) + (said.demo || !said.clock ? "" : `, ${at(end.in_s, said.clock)}`))]);
    if (s.running && !end && !s.held && !tripped && this.said.plan === null) rows.push([w("all done"), w("not known yet")]);
    if (s.running && s.held && !tripped) rows.push([w("all done"), w("waits for “Go on”")]);
    if (s.running && !tripped && !s.door_open && !s.held && s.state !== "start test" && number(s.reference_c)) rows.push([w("should be"), temperature(s.reference_c, 1), "less"]);
    rows.push(...part(s));
    // What the door costs is said while it is open, and until the chamber is back; after that, among the facts.
    if (said.door && !tripped && (said.door.is_open || said.door.back_s === null)) rows.push([said.door.is_open ? w("door costs") : w("door has cost"), doorCost(said.door, said.price), "door"]);
    lines($("times"), rows);
    $("begin").hidden = !!s.running || tripped || !!s.danger || !said.fresh || !!s.refusal || !!s.waiting;
  }
  facts(s) {
    const j = s.energy_j || 0, price = this.said.price;
    pairs($("facts"), [[w("heat"), s.running ? w("{some} of {all}", { some: watts((s.duty || 0) * (s.full_w || 0)), all: watts(s.full_w || 0) }) : w("off")],
      [w("energy so far"), s.running ? kwh(j) + (price ? `, ${money(j, price)}` : "") : "–"],
      [w("since the start"), s.running ? clock(s.run_s) : "–"], [w("second sensor"), number(s.limit_c) ? temperature(s.limit_c, 1) : "–"],
      [w("elements, estimated"), number(s.element_estimate_c) ? temperature(s.element_estimate_c) : "–"],
      ...(this.said.door ? [[this.said.door.is_open ? w("the door costs so far") : w("the last open door"), doorCost(this.said.door, price)]] : []),
      [w("door"), s.door_open === null || s.door_open === undefined ? w("not told") : s.door_open ? w("open") : w("shut")],
      [w("contactor"), s.contactor ? w("closed") : w("open")], ...(s.warnings || []).map((x) => [w("note"), inUnit(x)])]);
  }
  // What the curve shows: see `Curve`.
  picture(said, tripped) {
    const s = said.status, c = this.columns, t = c.time_s || [], now = s.running ? s.run_s : t.at(-1) ?? null, lines = [], ahead = said.ahead?.expected, look = s.running && !tripped ? said.outlook : null;
    const follows = ahead?.follows === "part" ? null : ahead, all = look ? outlook(this.plan, look, s.run_s, s.chamber_c) : null;
    if (t.length) {
      const reference = s.running && !tripped ? said.ahead?.reference : null;
      lines.push({ kind: "should", time_s: reference ? [...t, ...reference.in_s.map((x) => now + x)] : t, values: reference ? [...c.reference_c, ...reference.reference_c] : c.reference_c });
    }
    if (all) lines.push({ kind: "expected", time_s: all.time_s, values: all.chamber_c, low: all.low, high: all.high });
    else if (follows?.in_s?.length && s.running && !tripped) lines.push({ kind: "expected", time_s: follows.in_s.map((x) => now + x), values: follows.chamber_c });
    if (c.part_estimate_c?.some(number)) lines.push({ kind: "estimated", time_s: t, values: c.part_estimate_c, ...band(c) });
    if (c.part_c?.some(number)) lines.push({ kind: "part", time_s: t, values: c.part_c });
    if (t.length) lines.push({ kind: "chamber", time_s: t, values: c.chamber_c });
    lines.sort((p, q) => ORDER.indexOf(q.kind) - ORDER.indexOf(p.kind));
    const shift = look ? look.shift_s : 0, plan = this.plan, from = look ? s.run_s : -Infinity;
    const bars = [{ time_s: t, values: c.duty || [] }];
    if (all && plan) { const i = plan.columns.time_s.findIndex((x) => x > look.plan_s); if (i >= 0) bars.unshift({ ahead: true, time_s: plan.columns.time_s.slice(i).map((x) => x + shift), values: (plan.columns.duty || []).slice(i) }); }
    const stretches = plan && (look || !s.running) ? plan.stretches.map(([a, b, phase, to_c]) => ({ from: a + shift, to: b + shift, phase, to_c })) : [];
    return { now, lines, bars, full_w: s.full_w || said.full_w || 0, marks: this.marks(said, tripped),
      soaks: stretches.filter((x) => x.phase === "soak" && x.to > from).map((x) => ({ ...x, at_c: x.to_c })), phases: stretches.map((x) => ({ from: x.from, to: x.to, words: w(PHASES[x.phase] || x.phase) })) };
  }
  marks(said, tripped) {
    const s = said.status, list = (said.events || []).filter(([, kind]) => kind in MARKS || kind === "step").map(([time_s, kind, words]) => ({ time_s, kind: kind === "request" ? "hold" : kind, words: kind === "step" ? words : w(MARKS[kind](words)) }));
    if (tripped && this.columns.time_s?.length && !list.some((m) => m.kind === "trip") && s.trips[0].time_s > 0) list.push({ time_s: s.trips[0].time_s, kind: "trip", words: w("trip") });
    if (!s.danger) return list.map((m) => (m.kind === "trip" ? { ...m, words: w("heat cut") } : m));
    return list;
  }
  // What happened, the newest first; what came since a person last touched this page is marked.
  log(events) {
    const key = JSON.stringify([events.length, events.at(-1), this.looked, w("new")]);
    if (key === this.logged) return;
    this.logged = key;
    const items = events.slice(-30).reverse().map(([time_s, kind, words]) => element("li", { "data-kind": kind }, element("strong", {}, clock(time_s)), ` ${inUnit(words)}`, ...(time_s > (this.looked ?? Infinity) ? [element("em", {}, ` · ${w("new")}`)] : [])));
    $("log").replaceChildren(...(items.length ? items : [element("li", {}, w("nothing yet"))]));
  }
  async acknowledge() {
    const who = element("input", { id: "who", maxlength: "60", autocomplete: "off" });
    await ask(w("Acknowledge"), [element("p", {}, w("The power was off, the cause was found and is gone. The rules look again before any heat.")), element("label", { for: "who" }, w("Your name, for the record")), who], w("Acknowledge"), async () => {
      const said = await post("/api/acknowledge", { who: who.value });
      return outcome(said);
    });
  }
  async confirmSkip() {
    const s = this.said?.status;
    await ask(w("Next step"), [element("p", {}, w("Leave step {step} and go on with the one after it?", { step: s?.step || "" }))], w("Go on to the next step"), async () => outcome(await post("/api/skip", {})));
  }
  async soakLonger() {
    const minutes = element("input", { id: "minutes", type: "number", min: "1", max: "600", value: "10", inputmode: "numeric" });
    await ask(w("Soak longer"), [element("label", { for: "minutes" }, w("So many minutes more")), minutes], w("Add them"), async () => outcome(await post("/api/soak", { seconds: 60 * Number(minutes.value) })));
  }
}
const ORDER = ["chamber", "part", "estimated", "expected", "should"];
// Twice the standard deviation; if the part is measured, at least as wide as the estimate's error.
function band(c) {
  const half = c.part_estimate_c.map((v, i) => { const sd = c.part_sd_k?.[i], off = number(c.part_c?.[i]) && number(v) ? Math.abs(c.part_c[i] - v) : 0; return number(v) && number(sd) ? Math.max(2 * sd, off) : null; });
  return { low: c.part_estimate_c.map((v, i) => (half[i] === null ? null : v - half[i])), high: c.part_estimate_c.map((v, i) => (half[i] === null ? null : v + half[i])) };
}
// What a danger has seen, in its own words: after the order of its first sentence.
function seen(danger) {
  const shout = danger.split(". ")[0].split(": ").at(-1), words = told(shout);
  return words === shout ? shout.slice(0, 1) + shout.slice(1).toLowerCase() : words;
}
// Measured values come first; an estimate is marked as one, and is not shown once the sensor has proved it wrong.
function part(s) {
  const measured = number(s.part_c), sd = 2 * (s.part_sd_k || 0), off = measured ? Math.abs(s.part_estimate_c - s.part_c) : 0;
  const within = span(Math.max(1, Math.ceil(Math.max(sd, off))), 0), guessed = s.running && number(s.part_estimate_c);
  if (!measured) return guessed ? [[w("part, estimated"), `${temperature(s.part_estimate_c)} ± ${within}`]] : [];
  // Both in one row, so that a small screen has them.
  const guess = off > Math.max(3, sd) ? w("estimate {much} off", { much: span(off, 0) }) : w("estimated {c} ± {much}", { c: fixed(degrees(s.part_estimate_c), 0), much: within });
  return [[guessed ? w("part") : w("part, measured"), [element("span", {}, temperature(s.part_c, 1)), ...(guessed ? [" ", element("small", {}, guess)] : [])]]];
}
export const NEXT = { "heat up": "arrives at {c}", ramp: "ramp ends at {c}", soak: "soak at {c} ends", cooling: "cooled to {c}" };
export const milestone = (next) => w(NEXT[next.phase] || "{c}", { c: temperature(next.to_c) });
// What a door cost: how long it was open, how far the chamber fell, what left by it, and when the chamber was back.
const doorCost = (d, price) => [...(d.is_open ? [] : [clock(d.open_s)]), `−${span(d.fell_k, 0)}`, ...(d.lost_j > 18000 ? [kwh(d.lost_j), ...(price && (d.lost_j / 3.6e6) * price.amount >= 0.005 ? [money(d.lost_j, price)] : [])] : []), ...(d.back_s !== null ? [w("back after {time}", { time: clock(d.back_s) })] : [])].map((x, i, all) => element("span", {}, x + (i < all.length - 1 ? ", " : "")));
function pairs(list, rows) { list.replaceChildren(...rows.flatMap(([a, b]) => [element("dt", {}, a), element("dd", {}, ...[b].flat())])); }
// Each row shares its line for itself; one of the kind "less" may be left out on a small screen.
function lines(list, rows) { list.replaceChildren(...rows.map(([a, b, kind]) => element("div", { class: kind || null }, element("dt", {}, a), element("dd", {}, ...[b].flat())))); }
