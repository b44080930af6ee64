// The page "Schedules": choose, see what is expected, change with checks, start.
import { PIN, act, ask, element, get, outcome, post, say } from "./ask.js";
import { Curve } from "./curve.js";
import { Shelf } from "./shelf.js";
import { clock, inUnit, number, temperature } from "./units.js";

const $ = (id) => document.getElementById(id);
const NEW = "schedule: A new one\nabout: what it is for\nsteps:\n  - name: heat\n    to: 100 °C\n    hold: 30 min\n  - name: cool\n    to: 60 °C\n    let cool: yes\n";

export class Schedules {
  constructor() {
    this.curve = new Curve($("plan-curve"), {}); this.list = []; this.file = null; this.over = ""; this.seen = ""; this.sound = false; this.said = null; this.asking = null;
    this.shelf = new Shelf(this);
    $("schedule-new").addEventListener("click", () => this.open(null));
    $("schedule-check").addEventListener("click", () => this.check());
    $("schedule-save").addEventListener("click", () => this.save(null));
    $("schedule-start").addEventListener("click", () => this.start());
    $("schedule-text").addEventListener("input", () => { this.changed = true; this.buttons(); });
  }
  heard(said) { this.said = said; this.buttons(); }
  async load() {
    const said = await get("/api/schedules");
    this.list = said.schedules || [];
    this.shelf.deleted(said.deleted || []);
    return this.list;
  }
  async shown() {
    await this.load();
    $("schedule-list").replaceChildren(...this.list.map((s) => element("li", {}, element("button", { type: "button", "data-file": s.file, "aria-pressed": String(s.file === this.file), onclick: () => this.open(s.file) },
      s.name, element("small", {}, s.broken ? `not sound: ${s.about}` : s.may ? `up to ${temperature(s.top_c)}${s.about ? ` · ${s.about}` : ""}` : `up to ${temperature(s.top_c)}: hotter than this oven may get`)))));
    if (this.plan) this.paint();
  }
  async open(file) {
    this.file = file;
    for (const button of $("schedule-list").querySelectorAll("button")) button.setAttribute("aria-pressed", String(button.dataset.file === file));
    const place = this.list.findIndex((s) => s.file === file);
    const said = file === null ? { text: NEW } : await get(`/api/schedule?file=${encodeURIComponent(file)}`);
    this.over = said.sha256 || ""; this.shelf.versions(said.versions || []);
    $("schedule-text").value = said.text || ""; $("schedule-file").value = file || ""; $("schedule-edit").open = file === null;
    $("schedule-one").hidden = false; $("schedule-name").textContent = this.list[place]?.name || "A new schedule"; $("schedule-name").focus();
    this.changed = file === null;
    await this.check();
  }
  async check() {
    // Cancel the earlier request, here and at the panel.
    this.asking?.abort();
    const mine = this.asking = new AbortController();
    this.plan = null; this.seen = ""; this.sound = false; this.buttons();
    $("schedule-plan").replaceChildren(element("p", {}, "being rehearsed on the model …"));
    const draft = { text: $("schedule-text").value, file: $("schedule-file").value || "new.yaml" };
    // The check answers at once, and the schedule may be started then; the preview may take long.
    for (const question of ["/api/check", "/api/plan"]) {
      const said = await post(question, draft, mine.signal);
      if (said === null || mine !== this.asking) return;
      if (said.seen) this.seen = said.seen;
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
      element("p", {}, element("strong", {}, p.outcome === "finished" ? `Takes ${clock(p.duration_s)} and ${p.energy_kwh.toFixed(2)} kWh` : `WOULD NOT END WELL: ${p.outcome}`),
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
  // `over`: the version that it replaces; by default the text that was opened under that name.
  async save(over = null) {
    const file = $("schedule-file").value.trim();
    const body = { text: $("schedule-text").value, file, over: over ?? (file === this.file ? this.over : "") };
    const said = await act("/api/save", body);
    if (said.exists) {
      // Never replace without a question; the earlier version is kept.
      const yes = await ask("Replace it?", [element("p", {}, inUnit(said.words)), element("p", {}, `What stands in ${said.exists} now is kept among its earlier versions.`)], "Replace it", async () => true);
      return yes ? this.save(said.over) : say("nothing was saved");
    }
    if (said.ok) { this.changed = false; this.file = said.file; await this.shown(); await this.open(said.file); }
  }
  // The separate confirmation before a start that is not expected to end well.
  word(said) {
    const box = element("input", { type: "checkbox", id: "accept" });
    const words = { trip: "I start it although it is expected to end in a trip.", shortfall: "I start it although the oven cannot follow it.", unknown: "I start it without knowing what is to be expected." }[said.accept];
    $("ask-accept")?.remove();
    $("ask-body").append(element("div", { id: "ask-accept", class: "care" }, element("p", {}, inUnit(said.words)), element("label", { class: "tick" }, box, words)));
    return `${said.accept === "trip" ? "It is expected to end in a trip" : said.accept === "shortfall" ? "The oven cannot follow it" : "Not worked out yet"}: tick the box and press Start again.`;
  }
  async start() {
    const name = $("schedule-name").textContent, p = this.plan, ends = p && p.outcome !== "finished";
    const body = [element("p", {}, p ? `${name}: ${clock(p.duration_s)}, ${p.energy_kwh.toFixed(2)} kWh, up to ${temperature(p.highest_c)}.` : `${name}; how long it takes is still being worked out.`),
      ...(ends ? [element("p", { class: "care" }, element("strong", {}, `It is expected not to end well: ${p.outcome}. `), inUnit(p.words.at(-1) || ""))] : []),
      element("ul", {}, element("li", {}, "nothing in the oven that must not get so hot; nothing flammable near it"), element("li", {}, "door shut, ventilation running where it is wanted"), element("li", {}, "the independent limiter is set and works"))];
    if (!this.said.local) body.push(element("p", { class: "care" }, "You are not at the oven. Somebody there must allow this start within the last five minutes."));
    let confirm = false, accept = "";
    const done = await ask("Start the heat?", body, "Start", async () => {
      if ($("accept")) { if (!$("accept").checked) return "Tick the box, or leave it."; accept = $("ask-accept").dataset.accept; }
      const said = await post("/api/start", { file: this.file, seen: this.seen, confirm, accept });
      if (said.status === 401) return PIN;
      if (said.accept) { const words = this.word(said); $("ask-accept").dataset.accept = said.accept; return words; }
      if (said.changed) { $("ask-body").replaceChildren(element("p", {}, inUnit(said.words)), element("pre", { class: "changed" }, said.changed.join("\n"))); return "Look at it again, then start it."; }
      if (said.confirm) {
        confirm = true;
        const first = said.confirm.length === 1 && said.confirm[0].startsWith("there is no earlier run");
        return (first ? "This is the first run of this oven: look at its limits on the page “The oven”." : `These limits are unlike the last run's: ${inUnit(said.confirm.join("; "))}.`) + " Press Start again if they are right.";
      }
      if (said.ok) say(said.words);
      return outcome(said);
    });
    if (done) location.hash = "now";
    else if ($("ask-body").querySelector(".changed")) await this.open(this.file);
  }
}
