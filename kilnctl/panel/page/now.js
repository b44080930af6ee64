// The page "Now": the curve, the state in words, the next milestones, the ledger of watts.
import { ask, element, outcome, post } from "./ask.js";
import { Curve, kept } from "./curve.js";
import { at, clock, inUnit, number, span, temperature, watts } from "./units.js";

const $ = (id) => document.getElementById(id);
const STATES = { idle: "At rest", "start test": "Testing relay and sensor", "heat up": "Heating up", ramp: "Rising as planned", soak: "Soaking", cooling: "Cooling, heat off", finished: "Finished", held: "Held here", tripped: "Heat is cut", starting: "Starting", learning: "Learning the oven" };

// Most rows that a page keeps; above that they are thinned to half. Every line is drawn from them each second.
const MOST_ROWS = 12000;

export class Now {
  constructor() {
    this.columns = {}; this.plan = null; this.said = null;
    this.curve = new Curve($("curve"), { onRead: (words) => { $("readout").textContent = words; } });
    $("zoom-in").addEventListener("click", () => this.curve.zoom(0.6));
    $("zoom-out").addEventListener("click", () => this.curve.zoom(1.7));
    $("zoom-all").addEventListener("click", () => this.curve.all());
  }
  redraw() { this.curve.draw(); }
  shown() { requestAnimationFrame(() => this.curve.draw()); }
  // Thin evenly over the whole run; keep the rows with the lowest and highest chamber temperature.
  thin() {
    const times = this.columns.time_s, keep = kept(times, this.columns.chamber_c, times[0], times.at(-1), MOST_ROWS / 8);
    for (const [name, values] of Object.entries(this.columns)) this.columns[name] = keep.map((i) => values[i]);
  }
  // Add the new rows to the present columns; a curve that was thinned is sent whole again with a new epoch.
  take(said) {
    const { whole, columns } = said.curve;
    if (whole) this.columns = columns;
    else for (const [name, values] of Object.entries(columns)) (this.columns[name] ||= []).push(...values);
    if ((this.columns.time_s?.length || 0) > MOST_ROWS) this.thin();
    if (said.planned) this.plan = said.planned;
    if (said.plan === null && !said.status.running && !this.columns.time_s?.length) this.plan = null;
    if (whole && said.plan === null) this.plan = null;
    return said;
  }
  heard(said) {
    this.said = said;
    const s = said.status, tripped = !!s.trips?.length, ahead = said.ahead?.expected && said.ahead.expected.follows === "chamber" ? said.ahead.expected : null;
    $("state").textContent = (s.danger ? seen(s.danger) : STATES[s.state] || s.state || "") + (s.schedule ? ` · ${s.schedule}` : "");
    const [figure, its] = number(s.chamber_c) ? temperature(s.chamber_c, s.chamber_c < 1000 ? 1 : 0).split(" ") : ["", "no reading"];
    $("chamber").replaceChildren(figure, element("small", {}, its));
    $("reason").textContent = inUnit(s.trips?.length ? "" : s.reason);
    $("hot").hidden = !s.notice; $("hot").textContent = inUnit(s.notice || "");
    const rows = [];
    const next = said.milestones?.[0], end = said.milestones?.at(-1);
    if (s.running && !tripped && number(s.reference_c)) rows.push(["should be", temperature(s.reference_c, 1)]);
    rows.push(...part(s));
    if (next) rows.push([inUnit(next.words), `${clock(next.in_s)}`]);
    if (end && end !== next) rows.push(["all done", clock(end.in_s) + (said.demo || !said.clock ? "" : `, ${at(end.in_s, said.clock)}`)]);
    if (s.running) rows.push(["since the start", clock(s.run_s)]);
    pairs($("times"), rows);
    this.ledger(s);
    pairs($("facts"), [["heat", s.running ? `${watts((s.duty || 0) * (s.full_w || 0))} of ${watts(s.full_w || 0)}` : "off"], ["energy so far", s.running ? `${((s.energy_j || 0) / 3.6e6).toFixed(2)} kWh` : "–"],
      ["second sensor", number(s.limit_c) ? temperature(s.limit_c, 1) : "–"], ["door", s.door_open === null || s.door_open === undefined ? "not told" : s.door_open ? "open" : "shut"],
      ["contactor", s.contactor ? "closed" : "open"], ...(s.warnings || []).map((w) => ["note", inUnit(w)])]);
    $("hold").hidden = !!s.held || !s.running; $("proceed").hidden = !s.held; $("skip").hidden = $("soak").hidden = !s.running;
    for (const id of ["hold", "proceed", "skip", "soak"]) $(id).disabled = !s.running || !!s.trips?.length;
    const marks = tripped && number(s.trips[0].time_s) && s.trips[0].time_s > 0 && this.columns.time_s?.length ? [{ time_s: s.trips[0].time_s, words: s.danger ? "trip" : "heat cut" }] : [];
    this.curve.set({ now: s.running ? s.run_s : this.columns.time_s?.at(-1) ?? null, columns: this.columns, plan: this.plan, ahead: s.running && !tripped ? ahead : null, full_w: s.full_w, marks });
    $("curve-words").textContent = `Chamber ${temperature(s.chamber_c, 1)}` + (number(s.reference_c) && !tripped ? `, should be ${temperature(s.reference_c, 1)}` : "") + (next ? `; ${inUnit(next.words)} in ${clock(next.in_s)}` : "") + ". Arrow keys read the curve, plus and minus zoom.";
  }
  ledger(s) {
    const entries = Object.entries(s.ledger_w || {}), most = Math.max(1, s.full_w || 0, ...entries.map(([, w]) => Math.abs(w)));
    $("ledger").tBodies[0].replaceChildren(...(entries.length ? entries.filter(([, w]) => Math.abs(w) >= 0.005 * most).map(([name, w]) => {
      const gauge = element("span", { class: w < 0 ? "gauge back" : "gauge" }); gauge.style.width = `${(100 * Math.abs(w)) / most}%`;
      return element("tr", {}, element("th", { scope: "row" }, name), element("td", { class: "wide" }, gauge), element("td", {}, w < 0 ? `${watts(-w)} back` : watts(w)));
    }) : [element("tr", {}, element("td", {}, "no heat, nothing to share out"))]));
  }
  async acknowledge() {
    const who = element("input", { id: "who", maxlength: "60", autocomplete: "off" });
    await ask("It has been seen to", [element("p", {}, "The power was off, the cause was found and is gone. The rules look again before any heat."), element("label", { for: "who" }, "Your name, for the record"), who], "Acknowledge", async () => {
      const said = await post("/api/acknowledge", { who: who.value });
      return outcome(said);
    });
  }
  async confirmSkip() {
    const s = this.said?.status;
    await ask("Next step", [element("p", {}, `Leave step ${s?.step || ""} and go on with the one after it?`)], "Go on to the next step", async () => outcome(await post("/api/skip", {})));
  }
  async soakLonger() {
    const minutes = element("input", { id: "minutes", type: "number", min: "1", max: "600", value: "10", inputmode: "numeric" });
    await ask("Soak longer", [element("label", { for: "minutes" }, "So many minutes more"), minutes], "Add them", async () => outcome(await post("/api/soak", { seconds: 60 * Number(minutes.value) })));
  }
}
// What a danger has seen, in its own words: after the order of its first sentence.
function seen(danger) {
  const words = danger.split(". ")[0].split(": ").at(-1).toLowerCase();
  return words.slice(0, 1).toUpperCase() + words.slice(1);
}
// Measured values come first; an estimate is marked as one, and is not shown once the sensor has proved it wrong.
function part(s) {
  const rows = [], measured = number(s.part_c), sd = 2 * (s.part_sd_k || 0);
  if (measured) rows.push(["part, measured", temperature(s.part_c, 1)]);
  if (!s.running || !number(s.part_estimate_c)) return rows;
  const off = measured ? Math.abs(s.part_estimate_c - s.part_c) : 0;
  if (off > Math.max(3, sd)) rows.push(["part, estimated", `${span(off, 0)} off`]);
  else rows.push(["part, estimated", `${temperature(s.part_estimate_c)} ± ${span(Math.max(1, Math.ceil(Math.max(sd, off))), 0)}`]);
  return rows;
}
function pairs(list, rows) { list.replaceChildren(...rows.flatMap(([a, b]) => [element("dt", {}, a), element("dd", {}, b)])); }
