// The page "Schedules": choose, see what is expected, change with checks, start.
import { act, ask, element, get, post, say } from "./ask.js";
import { Curve } from "./curve.js";
import { clock, inUnit, number, temperature } from "./units.js";

const $ = (id) => document.getElementById(id);
const NEW = "schedule: A new one\nabout: what it is for\nsteps:\n  - name: heat\n    to: 100 °C\n    hold: 30 min\n  - name: cool\n    to: 60 °C\n    let cool: yes\n";

export class Schedules {
  constructor() {
    this.curve = new Curve($("plan-curve"), {}); this.list = []; this.file = null; this.sound = false; this.said = null; this.asked = 0;
    $("schedule-new").addEventListener("click", () => this.open(null));
    $("schedule-check").addEventListener("click", () => this.check());
    $("schedule-save").addEventListener("click", () => this.save());
    $("schedule-start").addEventListener("click", () => this.start());
    $("schedule-text").addEventListener("input", () => { this.changed = true; this.buttons(); });
  }
  heard(said) { this.said = said; this.buttons(); }
  async shown() {
    const said = await get("/api/schedules");
    this.list = said.schedules || [];
    $("schedule-list").replaceChildren(...this.list.map((s) => element("li", {}, element("button", { type: "button", "aria-pressed": String(s.file === this.file), onclick: () => this.open(s.file) },
      s.name, element("small", {}, s.broken ? `not sound: ${s.about}` : s.may ? `up to ${temperature(s.top_c)}${s.about ? ` · ${s.about}` : ""}` : `up to ${temperature(s.top_c)}: hotter than this oven may get`)))));
    if (this.plan) this.paint();
  }
  async open(file) {
    this.file = file;
    for (const button of $("schedule-list").querySelectorAll("button")) button.setAttribute("aria-pressed", "false");
    const place = this.list.findIndex((s) => s.file === file);
    if (place >= 0) $("schedule-list").querySelectorAll("button")[place].setAttribute("aria-pressed", "true");
    const text = file === null ? NEW : (await get(`/api/schedule?file=${encodeURIComponent(file)}`)).text || "";
    $("schedule-text").value = text; $("schedule-file").value = file || "new.yaml"; $("schedule-edit").open = file === null;
    $("schedule-one").hidden = false; $("schedule-name").textContent = this.list[place]?.name || "A new schedule"; $("schedule-name").focus();
    this.changed = file === null;
    await this.check();
  }
  async check() {
    const mine = ++this.asked;
    this.plan = null; this.sound = false; this.buttons();
    $("schedule-plan").replaceChildren(element("p", {}, "being rehearsed on the model …"));
    const draft = { text: $("schedule-text").value, file: $("schedule-file").value || "new.yaml" };
    // Whether it may be run is known at once, and it may be started then; what is to be expected of it takes as long as it takes.
    for (const question of ["/api/check", "/api/plan"]) {
      const said = await post(question, draft);
      if (mine !== this.asked) return;
      const problems = said.problems || (said.ok ? [] : [{ words: said.words }]);
      $("schedule-problems").replaceChildren(...problems.map((p) => element("li", {}, p.line ? `line ${p.line}, column ${p.column}: ${p.words}` : inUnit(p.words))));
      this.sound = !problems.length; this.plan = said.plan || null;
      if (problems.length) $("schedule-plan").replaceChildren(element("p", { class: "care" }, `not to be run on this oven: ${problems[0].line ? `line ${problems[0].line}: ` : ""}${inUnit(problems[0].words)}`));
      this.paint(); this.buttons();
      if (problems.length) return;
    }
  }
  paint() {
    const p = this.plan;
    $("plan-curve").hidden = !p;
    if (!p) return;
    const first = p.stretches.find((s) => s.phase === "soak");
    $("schedule-plan").replaceChildren(
      element("p", {}, element("strong", {}, p.outcome === "finished" ? `Takes ${clock(p.duration_s)} and ${p.energy_kwh.toFixed(2)} kWh` : `Would not end well: ${p.outcome}`),
        ` from where the oven is now; highest ${temperature(p.highest_c)}` + (first ? `; first soak reached after ${clock(first.begin_s)}` : "") + "."),
      ...p.words.map((w) => element("p", {}, element("small", {}, inUnit(w)))));
    $("plan-curve").setAttribute("aria-label", `Expected: ${p.stretches.map((s) => `${s.phase} to ${temperature(s.to_c)} until ${clock(s.end_s)}`).join(", ")}`);
    requestAnimationFrame(() => this.curve.set({ columns: {}, plan: { columns: p.columns, stretches: p.stretches.map((s) => [s.begin_s, s.end_s, s.phase, s.to_c]) }, now: null }));
  }
  buttons() {
    const s = this.said?.status || {};
    const why = s.running ? "a run is going on" : s.refusal ? "the oven refuses: see above" : this.changed ? "save it first" : !this.sound ? "not sound" : "";
    $("schedule-start").disabled = !!why || !number(this.said?.status?.chamber_c);
    $("schedule-start").textContent = why ? `Start it (${why})` : "Start it …";
    $("schedule-save").disabled = !this.sound;
  }
  async save() {
    const said = await act("/api/save", { text: $("schedule-text").value, file: $("schedule-file").value });
    if (said.ok) { this.changed = false; this.file = said.file; await this.shown(); await this.open(said.file); }
  }
  async start() {
    const name = $("schedule-name").textContent, p = this.plan;
    const body = [element("p", {}, p ? `${name}: ${clock(p.duration_s)}, ${p.energy_kwh.toFixed(2)} kWh, up to ${temperature(p.highest_c)}.` : `${name}; how long it takes is still being worked out.`),
      element("ul", {}, element("li", {}, "nothing in the oven that must not get so hot; nothing flammable near it"), element("li", {}, "door shut, ventilation running where it is wanted"), element("li", {}, "the independent limiter is set and works"))];
    if (!this.said.local) body.push(element("p", { class: "care" }, "You are not at the oven. Somebody there must allow this start within the last five minutes."));
    let confirm = false;
    const done = await ask("Start the heat?", body, "Start", async () => {
      say("being prepared …");
      const said = await post("/api/start", { file: this.file, confirm });
      if (said.status === 401) return "unlock with the PIN first (top right)";
      if (said.confirm) { confirm = true; return `These limits are unlike the last run's: ${said.confirm.join("; ")}. Press Start again if that is right.`; }
      if (!said.ok) return inUnit(said.words);
      say(said.words); return true;
    });
    if (done) location.hash = "now";
  }
}
