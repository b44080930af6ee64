// The page "Runs": search, one run with its curve, note and export, or several on one curve; the page of evidence of
// one, in a frame without any permissions.
import { act, element, get, say } from "./ask.js";
import { Curve } from "./curve.js";
import { Flow } from "./flow.js";
import { MARKS, PHASES } from "./now.js";
import { clock, fixed, isF, kwh, number, temperature } from "./units.js";
import { w } from "./words.js";

const $ = (id) => document.getElementById(id);
const COLOURS = ["--ember", "--part", "--ahead", "--good", "--care", "--do"], MOST = COLOURS.length;

// A photograph as JPEG, its longer side at most so many pixels, without what a camera adds.
const WIDEST = 1280;
async function smaller(file) {
  const picture = await createImageBitmap(file), scale = Math.min(1, WIDEST / Math.max(picture.width, picture.height)), canvas = document.createElement("canvas");
  canvas.width = Math.round(picture.width * scale); canvas.height = Math.round(picture.height * scale);
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  return new Promise((done, fail) => canvas.toBlob((made) => (made ? done(made) : fail()), "image/jpeg", 0.8));
}

export class Past {
  constructor() {
    this.runs = []; this.chosen = new Set(); this.one = null;
    this.curve = new Curve($("run-curve"), { legend: $("run-legend"), onRead: (words) => { $("run-readout").textContent = words; } });
    $("run-search").addEventListener("input", () => this.list());
    $("run-compare").addEventListener("click", () => this.compare());
  }
  async shown() { this.runs = (await get("/api/runs")).runs || []; this.list(); }
  list() {
    const wanted = $("run-search").value.toLowerCase().split(/\s+/).filter(Boolean);
    const found = this.runs.filter((r) => wanted.every((x) => [r.schedule, r.started, r.outcome, r.note].join(" ").toLowerCase().includes(x)));
    $("run-list").replaceChildren(...(found.length ? found.map((r) => this.row(r)) : [element("li", {}, this.runs.length ? w("no run fits the search") : w("no run has been recorded yet"))]));
    this.button();
  }
  row(r) {
    const box = element("input", { type: "checkbox", checked: this.chosen.has(r.id), "aria-label": w("Compare {run}", { run: `${r.schedule} ${r.started.slice(0, 16)}` }) });
    box.addEventListener("change", () => { if (box.checked && this.chosen.size < MOST) this.chosen.add(r.id); else { this.chosen.delete(r.id); box.checked = false; } this.button(); });
    const words = [r.started.slice(0, 16), w(r.outcome), number(r.duration_s) ? clock(r.duration_s) : "", number(r.energy_kwh) ? `${fixed(r.energy_kwh, 2)} kWh` : "", number(r.highest_c) ? w("up to {c}", { c: temperature(r.highest_c) }) : ""].filter(Boolean).join(" · ");
    return element("li", { class: "run-row" }, element("label", { class: "tick" }, box), element("button", { type: "button", "aria-pressed": String(this.one === r.id), onclick: () => this.open(r) }, r.schedule, element("small", {}, words), ...(r.note ? [element("small", {}, `“${r.note}”`)] : [])));
  }
  button() { $("run-compare").hidden = this.chosen.size < 2; $("run-compare").textContent = w("Compare {count} runs", { count: this.chosen.size }); }
  head(words) { $("run-one").hidden = false; $("run-name").textContent = words; $("run-name").focus(); $("run-facts").replaceChildren(); $("run-more").replaceChildren(); }
  async compare() {
    const runs = this.runs.filter((r) => this.chosen.has(r.id));
    this.one = null; this.list(); this.head(w("Compare {count} runs", { count: runs.length })); $("run-report").hidden = true;
    const all = await Promise.all(runs.map((r) => get(`/api/run/${r.id}`)));
    const lines = all.map((said, i) => ({ kind: "chamber", time_s: said.columns?.time_s || [], values: said.columns?.chamber_c || [], colour: COLOURS[i], words: `${runs[i].schedule}, ${runs[i].started.slice(5, 16)}` }));
    this.draw({ lines, bars: [], marks: [], soaks: [], phases: [], now: null });
    const swatch = (i) => { const made = element("i", { class: "swatch", "aria-hidden": "true" }); made.style.background = `var(${COLOURS[i]})`; return made; };
    const rows = runs.map((r, i) => element("tr", {}, element("th", { scope: "row" }, swatch(i), `${r.schedule}, ${r.started.slice(0, 16)}`), ...[w(r.outcome), number(r.duration_s) ? clock(r.duration_s) : "–", number(r.highest_c) ? temperature(r.highest_c, 1) : "–", number(r.energy_kwh) ? `${fixed(r.energy_kwh, 2)} kWh` : "–"].map((x) => element("td", {}, x))));
    $("run-facts").replaceChildren(element("table", { class: "compared" }, element("thead", {}, element("tr", {}, ...["run", "outcome", "takes", "highest", "energy"].map((x) => element("th", { scope: "col" }, w(x))))), element("tbody", {}, ...rows)));
  }
  draw(data) { $("run-curve-box").hidden = false; requestAnimationFrame(() => { this.curve.all(); this.curve.set(data); }); }
  async open(run) {
    this.one = run.id; this.list(); this.head(run.schedule);
    $("run-report").hidden = false; $("run-report").src = `/report/${run.id}?unit=${isF() ? "F" : "C"}`;
    $("run-more").replaceChildren(this.acts(run));
    const said = await get(`/api/run/${run.id}`);
    if (!said.ok || this.one !== run.id) { $("run-curve-box").hidden = true; return; }
    this.photos(run, said.photos);
    const { columns: c, events } = said, t = c.time_s, lines = [{ kind: "should", time_s: t, values: c.reference_c }];
    if (c.part_c?.some(number)) lines.push({ kind: "part", time_s: t, values: c.part_c });
    lines.push({ kind: "chamber", time_s: t, values: c.chamber_c });
    const kind = { trip: "trip", door: "door", request: "hold", step: "step" };
    this.draw({ lines, bars: [{ time_s: t, values: c.duty }], full_w: said.full_w, now: null, soaks: said.phases.filter((x) => typeof x.at_c === "number"), phases: said.phases.filter((x) => PHASES[x.phase]).map((x) => ({ from: x.from, to: x.to, words: w(PHASES[x.phase]) })), marks: events.filter((e) => e[1] in kind).map(([time_s, what, words]) => ({ time_s, kind: kind[what], words: what === "trip" ? w("heat cut") : what in MARKS ? w(MARKS[what](words)) : words })) });
    const place = element("div", {});
    $("run-facts").replaceChildren(element("h3", {}, w("Where the energy went, by the model")), place);
    new Flow(place).show({ ledger: said.ledger_j, supply: Object.values(said.ledger_j).reduce((a, v) => a + v, 0), value: kwh });
  }
  photos(run, names) {
    const box = element("div", { id: "run-photos", class: "photos" }), pick = element("input", { type: "file", id: "photo-pick", accept: "image/*", class: "unseen", tabindex: "-1", "aria-label": w("Add a photograph") });
    const again = async () => { const now = await get(`/api/run/${run.id}`); if (now.ok && this.one === run.id) this.photos(run, now.photos); };
    pick.addEventListener("change", async () => {
      const made = pick.files[0] && (await smaller(pick.files[0]).catch(() => null));
      if (!made) return say(w("This picture cannot be read."));
      if ((await act(`/api/photo/${run.id}`, made, w("the photograph is kept"))).ok) await again();
    });
    box.append(...names.map((name) => element("figure", {}, element("a", { href: `/api/run/${run.id}/photo/${name}`, target: "_blank", rel: "noopener" }, element("img", { src: `/api/run/${run.id}/photo/${name}`, alt: w("Photograph {name} of this run", { name }), loading: "lazy" })),
      element("button", { type: "button", "aria-label": w("Remove photograph {name}", { name }), onclick: async () => { if ((await act("/api/photo-remove", { run: run.id, name }, w("the photograph is removed"))).ok) await again(); } }, "✕"))),
      pick, element("button", { type: "button", id: "photo-add", onclick: () => pick.click() }, w("Add a photograph")));
    $("run-photos")?.remove();
    $("run-more").append(box);
  }
  acts(run) {
    const note = element("input", { id: "run-note", maxlength: "2000", autocomplete: "off", value: run.note || "" });
    return element("div", {}, element("div", { class: "row" },
      element("a", { class: "button", href: `/api/run/${run.id}/samples.csv`, download: "" }, w("Samples as CSV")),
      element("a", { class: "button", href: `/report/${run.id}?unit=${isF() ? "F" : "C"}`, target: "_blank", rel: "noopener" }, w("Report alone, to print or keep as PDF"))),
      element("label", { for: "run-note" }, w("A note on this run")), element("div", { class: "row" }, note,
        element("button", { type: "button", id: "run-note-keep", onclick: async () => { const said = await act("/api/note", { run: run.id, text: note.value }); if (said.ok) await this.shown(); } }, w("Keep the note"))));
  }
}
