// The page "Past runs": a list, and the page of evidence of each, in a frame without any permissions.
import { element, get } from "./ask.js";
import { clock, isF, number, temperature } from "./units.js";

const $ = (id) => document.getElementById(id);

export class Past {
  async shown() {
    const said = await get("/api/runs");
    const runs = said.runs || [];
    $("run-list").replaceChildren(...(runs.length ? runs.map((r) => element("li", {}, element("button", { type: "button", "aria-pressed": "false", onclick: (e) => this.open(r, e.currentTarget) },
      `${r.schedule}`, element("small", {}, [r.started.slice(0, 16), r.outcome, number(r.duration_s) ? clock(r.duration_s) : "", number(r.energy_kwh) ? `${r.energy_kwh.toFixed(2)} kWh` : "", number(r.highest_c) ? `up to ${temperature(r.highest_c)}` : ""].filter(Boolean).join(" · "))))) : [element("li", {}, "no run has been recorded yet")]));
  }
  open(run, button) {
    for (const other of $("run-list").querySelectorAll("button")) other.setAttribute("aria-pressed", String(other === button));
    $("run-one").hidden = false; $("run-name").textContent = run.schedule; $("run-name").focus();
    $("run-report").src = `/report/${run.id}?unit=${isF() ? "F" : "C"}`;
  }
}
