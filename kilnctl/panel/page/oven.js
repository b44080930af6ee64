// The page "The oven": the results of the sizing.
import { care } from "./care.js";
import { element, get } from "./ask.js";
import { plot } from "./curve.js";
import { clock, degrees, inUnit, temperature, unit, watts } from "./units.js";

const $ = (id) => document.getElementById(id);

export class Oven {
  constructor() { new ResizeObserver(() => { if (this.said) this.draw(); }).observe($("size-power")); }
  async shown() {
    care($("oven"));
    if (!this.said) { $("size-about").textContent = "being worked out …"; this.said = await get("/api/sizing"); }
    const s = this.said;
    if (!s.ok) { $("size-about").textContent = s.words; this.said = null; return; }
    $("size-name").textContent = s.oven; $("size-about").textContent = inUnit(s.about);
    const [low, middle, high] = s.reach_c;
    $("size-words").replaceChildren(
      element("p", {}, `Schedules may go up to ${temperature(s.highest_c)}; the software cuts the heat at ${temperature(s.trip_c)}` + (s.limiter_c ? `; the independent limiter is set to ${temperature(s.limiter_c)}.` : ".")),
      element("p", {}, `${watts(s.power_w)} would hold ${temperature(middle)} for ever (between ${temperature(low)} and ${temperature(high)}, for what is not known). Empty and at full power it gets from ${temperature(s.ambient_c)} to ${temperature(s.ledger_at_c)} in about ${clock(s.heat_up_s)}.`));
    $("size-power").setAttribute("aria-label", `Holding ${temperature(s.at_c.at(-1))} takes ${watts(s.holding_w.at(-1))}, between ${watts(s.holding_low_w.at(-1))} and ${watts(s.holding_high_w.at(-1))}`);
    $("size-shell").setAttribute("aria-label", `At ${temperature(s.at_c.at(-1))} inside the hottest outside face is at ${temperature(s.shell_c.at(-1))}`);
    requestAnimationFrame(() => this.draw());
    $("size-ledger-head").textContent = `Where the watts go at ${temperature(s.ledger_at_c)}`;
    const most = Math.max(...Object.values(s.ledger_w));
    $("size-ledger").tBodies[0].replaceChildren(...Object.entries(s.ledger_w).sort((a, b) => b[1] - a[1]).map(([name, w]) => {
      const gauge = element("span", { class: "gauge" }); gauge.style.width = `${(100 * w) / most}%`;
      return element("tr", {}, element("th", { scope: "row" }, name), element("td", { class: "wide" }, gauge), element("td", {}, watts(w)));
    }));
    $("size-assumptions").replaceChildren(...s.assumptions.map((a) => element("li", {}, inUnit(a))));
  }
  // Draw again when the screen is turned.
  draw() {
    const s = this.said, xs = s.at_c.map(degrees);
    plot($("size-power"), xs, s.holding_w, s.holding_low_w, s.holding_high_w, `chamber, ${unit()}`, "W");
    plot($("size-shell"), xs, s.shell_c.map(degrees), null, null, `chamber, ${unit()}`, unit(), { y: degrees(60), words: "too hot to touch for long" });
  }
}
