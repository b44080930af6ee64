// The page "Schedules": choose, see what is expected, change with checks, start.
import { PIN, act, ask, element, get, outcome, pinBlock, post, say } from "./ask.js";
import { Curve } from "./curve.js";
import { Flow } from "./flow.js";
import { later } from "./later.js";
import { Shelf } from "./shelf.js";
import { Steps } from "./steps.js";
import { TEMPLATES, textOf } from "./templates.js";
import { at, clock, inUnit, kwh, money, number, temperature } from "./units.js";
import { PHASES } from "./now.js";
import { w } from "./words.js";

const $ = (id) => document.getElementById(id);
const NEW = "schedule: A new one\nabout: what it is for\nsteps:\n  - name: heat\n    to: 100 °C\n    hold: 30 min\n  - name: cool\n    to: 60 °C\n    let cool: yes\n";

// What a plan shows of itself on a curve.
export function planned(p, full_w) {
  const t = p.columns.time_s;
  return {
    now: null, marks: [], full_w, region: p.region?.time_s?.length ? p.region : null, bars: [{ ahead: true, time_s: t, values: p.columns.duty || [] }],
    lines: [{ kind: "should", time_s: t, values: p.columns.reference_c }, ...(p.follows === "part" ? [{ kind: "estimated", time_s: t, values: p.columns.part_c }] : []), { kind: "expected", time_s: t, values: p.columns.chamber_c }],
    soaks: p.stretches.filter((s) => s.phase === "soak").map((s) => ({ from: s.begin_s, to: s.end_s, at_c: s.to_c })),
    phases: p.stretches.map((s) => ({ from: s.begin_s, to: s.end_s, words: s.name })),
  };
}

// The corners that can be dragged: where a step arrives, and where its soak ends.
function corners(p, rows) {
  const out = [];
  for (const s of p.stretches) {
    if (!rows[s.step - 1]) continue;
    const soak = s.phase === "soak";
    out.push({ step: s.step, soak, time_s: s.end_s, c: s.to_c, hold_s: soak ? s.end_s - s.begin_s : 0 });
  }
  return out;
}

export class Schedules {
  constructor() {
    this.curve = new Curve($("plan-curve"), { legend: $("plan-legend"), onRead: (words) => { $("plan-readout").textContent = words; } });
    this.list = []; this.file = null; this.over = ""; this.seen = ""; this.sound = false; this.said = null; this.asking = null;
    this.shelf = new Shelf(this);
    this.flow = new Flow($("plan-flow"));
    this.steps = new Steps($("steps"), { text: () => $("schedule-text").value, changed: (text) => { $("schedule-text").value = text; this.changed = true; this.buttons(); this.soon(); } });
    this.curve.onDrag = (held, seconds, c, over) => this.drag(held, seconds, c, over);
    for (const [id, steps] of [["edit-steps", true], ["edit-text", false]]) $(id).addEventListener("click", () => this.face(steps));
    $("step-add").addEventListener("click", () => this.steps.add());
    $("schedule-edit").addEventListener("toggle", () => this.paint());
    $("schedule-new").addEventListener("click", () => this.open(null));
    $("schedule-check").addEventListener("click", () => this.check());
    $("schedule-save").addEventListener("click", () => this.save(null));
    $("schedule-start").addEventListener("click", () => this.start());
    $("schedule-later").addEventListener("click", () => later(this));
    $("schedule-text").addEventListener("input", () => { this.changed = true; this.buttons(); });
  }
  // Steps or text: two faces of the same schedule.
  face(steps) {
    $("steps-box").hidden = !steps; $("text-box").hidden = steps;
    $("edit-steps").setAttribute("aria-pressed", String(steps)); $("edit-text").setAttribute("aria-pressed", String(!steps));
    if (steps && this.changed) this.check();
  }
  // Checked and previewed once the person pauses.
  soon() { clearTimeout(this.pause); this.pause = setTimeout(() => this.check(), 500); }
  // A corner of the curve was moved to that time and temperature: the arrival of a step changes its target, the end of a
  // soak its length.
  drag(held, seconds, c, over) {
    const row = this.steps.rows[held.step - 1];
    if (!row) return;
    const fahrenheit = /F/.test(row.to || ""), by = 5;
    if (held.soak) row.hold = `${Math.max(1, Math.round((held.hold_s + seconds - held.time_s) / 300) * 5)} min`;
    else row.to = `${Math.max(by, Math.round((fahrenheit ? c * 1.8 + 32 : c) / by) * by)} ${fahrenheit ? "°F" : "°C"}`;
    if (over) this.steps.tell(); else $("plan-readout").textContent = held.soak ? `${w("hold for")} ${row.hold}` : `${w("to")} ${row.to}`;
  }
  heard(said) { this.said = said; this.buttons(); }
  async load() {
    const said = await get("/api/schedules");
    this.list = said.schedules || [];
    this.shelf.deleted(said.deleted || []);
    // What this oven may do comes first.
    this.list.sort((p, q) => Number(!!q.may) - Number(!!p.may));
    return this.list;
  }
  async shown() {
    await this.load();
    $("schedule-list").replaceChildren(...this.list.map((s) => element("li", {}, element("button", { type: "button", "data-file": s.file, "aria-pressed": String(s.file === this.file), onclick: () => this.open(s.file) },
      s.name, element("small", {}, s.broken ? w("not sound: {why}", { why: s.about }) : s.may ? w("up to {c}", { c: temperature(s.top_c) }) + (s.about ? ` · ${s.about}` : "") : w("up to {c}: hotter than this oven may get", { c: temperature(s.top_c) }))))));
    if (this.plan) this.paint();
  }
  async open(file) {
    this.file = file;
    for (const button of $("schedule-list").querySelectorAll("button")) button.setAttribute("aria-pressed", String(button.dataset.file === file));
    const place = this.list.findIndex((s) => s.file === file);
    const said = file === null ? { text: NEW } : await get(`/api/schedule?file=${encodeURIComponent(file)}`);
    $("schedule-templates").hidden = file !== null;
    $("schedule-templates").replaceChildren(...(file === null ? TEMPLATES.map((t) => element("button", { type: "button", onclick: () => { $("schedule-text").value = textOf(t); this.changed = true; this.check(); } }, element("strong", {}, w(t[0])), element("br"), element("small", {}, w(t[1])))) : []));
    this.over = said.sha256 || ""; this.shelf.versions(said.versions || []);
    $("schedule-text").value = said.text || ""; $("schedule-file").value = file || ""; $("schedule-edit").open = file === null;
    $("schedule-one").hidden = false; $("schedule-name").textContent = this.list[place]?.name || w("A new schedule"); $("schedule-name").focus(); $("schedule-name").scrollIntoView();
    this.changed = file === null;
    await this.check();
  }
  async check() {
    // Cancel the earlier request, here and at the panel.
    this.asking?.abort();
    const mine = this.asking = new AbortController();
    this.plan = null; this.seen = ""; this.sound = false; this.buttons();
    $("schedule-plan").replaceChildren(element("p", {}, w("being rehearsed on the model …")));
    const draft = { text: $("schedule-text").value, file: $("schedule-file").value || "new.yaml" };
    // The check answers at once, and the schedule may be started then; the preview may take long.
    for (const question of ["/api/check", "/api/plan"]) {
      const said = await post(question, draft, mine.signal);
      if (said === null || mine !== this.asking) return;
      if (said.seen) this.seen = said.seen;
      if (said.steps !== undefined) this.steps.show(said.steps);
      const problems = said.problems || (said.ok ? [] : [{ words: said.words }]);
      $("schedule-problems").replaceChildren(...problems.map((p) => element("li", {}, p.line ? w("line {line}, column {column}: {words}", p) : inUnit(p.words))));
      this.sound = !problems.length; this.plan = said.plan || null;
      if (problems.length) $("schedule-plan").replaceChildren(element("p", { class: "care" }, w("not to be run on this oven: {why}", { why: (problems[0].line ? w("line {line}: ", problems[0]) : "") + inUnit(problems[0].words) })));
      this.paint(); this.buttons();
      if (problems.length) return;
    }
  }
  paint() {
    const p = this.plan;
    $("plan-box").hidden = !p;
    if (!p) return;
    const price = this.said?.price, ovens = this.said?.clock, joule = 3.6e6 * p.energy_kwh, first = p.stretches.find((x) => x.phase === "soak");
    const figures = [[w("takes"), clock(p.duration_s)], [w("energy"), kwh(joule)], ...(price ? [[w("money"), money(joule, price)]] : []), [w("highest"), temperature(p.highest_c)],
      ...(first ? [[w("first soak after"), clock(first.begin_s)]] : []), ...(ovens && !this.said.demo ? [[w("if started now, over at"), at(p.duration_s, ovens)]] : [])];
    $("schedule-plan").replaceChildren(
      ...(p.outcome === "finished" ? [] : [element("p", { class: "care" }, element("strong", {}, `${w("WOULD NOT END WELL")}: ${w(p.outcome)}`))]),
      element("dl", { class: "figures" }, ...figures.map(([k, v]) => element("div", {}, element("dt", {}, k), element("dd", {}, v)))),
      element("p", {}, element("small", {}, w("Expected from where the oven is now."))),
      ...p.words.map((x) => element("p", {}, element("small", {}, inUnit(x).replace(/^./, (first) => first.toUpperCase())))));
    this.flow.show({ ledger: p.ledger_j || {}, supply: Object.values(p.ledger_j || {}).reduce((a, v) => a + v, 0), value: kwh, empty: w("being worked out …") });
    $("plan-curve").setAttribute("aria-label", w("Expected: {steps}", { steps: p.stretches.map((s) => w("{phase} to {c} until {time}", { phase: w(PHASES[s.phase] || s.phase), c: temperature(s.to_c), time: clock(s.end_s) })).join(", ") }));
    requestAnimationFrame(() => this.curve.set({ ...planned(p, p.full_w || 0), handles: $("schedule-edit").open ? corners(p, this.steps.rows) : null }));
  }
  buttons() {
    const s = this.said?.status || {};
    const why = s.running ? w("a run is going on") : s.waiting ? w("another start waits") : s.refusal ? w("the oven refuses: see above") : this.changed ? w("save it first") : !this.sound ? w("not sound") : "";
    $("schedule-start").disabled = !!why || !number(this.said?.status?.chamber_c);
    $("schedule-start").textContent = why ? w("Start it ({why})", { why }) : w("Start it …");
    // Only at the oven: somebody has to look into it.
    $("schedule-later").hidden = !this.said?.local || this.said.demo; $("schedule-later").disabled = $("schedule-start").disabled || !this.plan || !!s.waiting;
    $("schedule-save").disabled = !this.sound;
  }
  // `over`: the version that it replaces; by default the text that was opened under that name.
  async save(over = null) {
    const file = $("schedule-file").value.trim();
    const body = { text: $("schedule-text").value, file, over: over ?? (file === this.file ? this.over : "") };
    const said = await act("/api/save", body);
    if (said.exists) {
      // Never replace without a question; the earlier version is kept.
      const yes = await ask(w("Replace it?"), [element("p", {}, inUnit(said.words)), element("p", {}, w("What stands in {file} now is kept among its earlier versions.", { file: said.exists }))], w("Replace it"), async () => true);
      return yes ? this.save(said.over) : say(w("nothing was saved"));
    }
    if (said.ok) { this.changed = false; this.file = said.file; await this.shown(); await this.open(said.file); }
  }
  // The separate confirmation before a start that is not expected to end well.
  word(said) {
    const box = element("input", { type: "checkbox", id: "accept" });
    const words = w({ trip: "I start it although it is expected to end in a trip.", shortfall: "I start it although the oven cannot follow it.", unknown: "I start it without knowing what is to be expected." }[said.accept]);
    $("ask-accept")?.remove();
    $("ask-body").append(element("div", { id: "ask-accept", class: "care" }, element("p", {}, inUnit(said.words)), element("label", { class: "tick" }, box, words)));
    return w({ trip: "It is expected to end in a trip: tick the box and press Start again.", shortfall: "The oven cannot follow it: tick the box and press Start again.", unknown: "Not worked out yet: tick the box and press Start again." }[said.accept]);
  }
  async start() {
    const name = $("schedule-name").textContent, p = this.plan, ends = p && p.outcome !== "finished";
    const body = [element("p", {}, p ? w("{name}: {time}, {energy}, up to {c}.", { name, time: clock(p.duration_s), energy: kwh(3.6e6 * p.energy_kwh), c: temperature(p.highest_c) }) : w("{name}; how long it takes is still being worked out.", { name })),
      ...(ends ? [element("p", { class: "care" }, element("strong", {}, `${w("It is expected not to end well: {outcome}.", { outcome: w(p.outcome) })} `), inUnit(p.words.at(-1) || ""))] : []),
      element("ul", {}, ...["nothing in the oven that must not get so hot; nothing flammable near it", "door shut, ventilation running where it is wanted", "the independent limiter is set and works"].map((x) => element("li", {}, w(x))))];
    if (!this.said.local) body.push(element("p", { class: "care" }, w("You are not at the oven. Somebody there must allow this start within the last five minutes.")));
    if (!(this.said.unlocked_s > 0)) body.push(pinBlock());
    let confirm = false, accept = "";
    const done = await ask(w("Start the heat?"), body, w("Start"), async () => {
      if ($("accept")) { if (!$("accept").checked) return w("Tick the box, or leave it."); accept = $("ask-accept").dataset.accept; }
      const said = await post("/api/start", { file: this.file, seen: this.seen, confirm, accept });
      if (said.status === 401) return PIN;
      if (said.accept) { const words = this.word(said); $("ask-accept").dataset.accept = said.accept; return words; }
      if (said.changed) { $("ask-body").replaceChildren(element("p", {}, inUnit(said.words)), element("pre", { class: "changed" }, said.changed.join("\n"))); return w("Look at it again, then start it."); }
      if (said.confirm) {
        confirm = true;
        const first = said.confirm.length === 1 && said.confirm[0].startsWith("there is no earlier run");
        return (first ? w("This is the first run of this oven: look at its limits on the page “The oven”.") : w("These limits are unlike the last run's: {limits}.", { limits: inUnit(said.confirm.join("; ")) })) + ` ${w("Press Start again if they are right.")}`;
      }
      if (said.ok) say(inUnit(said.words.split("; ")[0])); // at which temperature the heat is cut stands beside the plan
      return outcome(said);
    });
    if (done) location.hash = "now";
    else if ($("ask-body").querySelector(".changed")) await this.open(this.file);
  }
}
