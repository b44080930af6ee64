// The page "The oven": the results of the sizing.
import { care } from "./care.js";
import { element, get } from "./ask.js";
import { plot } from "./draw.js";
import { clock, degrees, inUnit, temperature, unit, watts } from "./units.js";
import { w } from "./words.js";

const $ = (id) => document.getElementById(id);

export class Oven {
  constructor() { new ResizeObserver(() => { if (this.said) this.draw(); }).observe($("size-power")); }
  async shown() {
    care($("oven"));
    if (!this.said) { $("size-about").textContent = w("being worked out …"); this.said = await get("/api/sizing"); }
    const s = this.said;
    if (!s.ok) { $("size-about").textContent = s.words; this.said = null; return; }
    $("size-name").textContent = s.oven; $("size-about").textContent = inUnit(s.about);
    const [low, middle, high] = s.reach_c;
    $("size-words").replaceChildren(
      element("p", {}, w(s.limiter_c ? "Schedules may go up to {highest}; the software cuts the heat at {trip}; the independent limiter is set to {limiter}." : "Schedules may go up to {highest}; the software cuts the heat at {trip}.", { highest: temperature(s.highest_c), trip: temperature(s.trip_c), limiter: temperature(s.limiter_c) })),
      element("p", {}, w("Left on at {power} it would settle at about {likely} in the end (not all is known: {low} to {high}). Empty and at full power it gets from {cold} to {hot} in about {time}.", { power: watts(s.power_w), likely: temperature(middle), low: temperature(low), high: temperature(high), cold: temperature(s.ambient_c), hot: temperature(s.ledger_at_c), time: clock(s.heat_up_s) })));
    $("size-power").setAttribute("aria-label", w("Holding {c} takes {likely}, between {low} and {high}", { c: temperature(s.at_c.at(-1)), likely: watts(s.holding_w.at(-1)), low: watts(s.holding_low_w.at(-1)), high: watts(s.holding_high_w.at(-1)) }));
    $("size-shell").setAttribute("aria-label", w("At {c} inside the hottest outside face is at {shell}", { c: temperature(s.at_c.at(-1)), shell: temperature(s.shell_c.at(-1)) }));
    requestAnimationFrame(() => this.draw());
    $("size-ledger-head").textContent = w("Where the watts go at {c}", { c: temperature(s.ledger_at_c) });
    const most = Math.max(...Object.values(s.ledger_w));
    $("size-ledger").tBodies[0].replaceChildren(...Object.entries(s.ledger_w).sort((a, b) => b[1] - a[1]).map(([name, value]) => {
      const gauge = element("span", { class: "gauge" }); gauge.style.width = `${(100 * value) / most}%`;
      return element("tr", {}, element("th", { scope: "row" }, w(name)), element("td", { class: "wide" }, gauge), element("td", {}, watts(value)));
    }));
    $("size-assumptions").replaceChildren(...s.assumptions.map((a) => element("li", {}, inUnit(a))));
  }
  // Draw again when the screen is turned.
  draw() {
    const s = this.said, xs = s.at_c.map(degrees);
    const xWords = `${w("chamber")}, ${unit()}`;
    plot($("size-power"), { xs, ys: s.holding_w, lows: s.holding_low_w, highs: s.holding_high_w, xWords, yWords: "W" });
    plot($("size-shell"), { xs, ys: s.shell_c.map(degrees), xWords, yWords: unit(), mark: { y: degrees(60), words: w("too hot to touch for long") } });
  }
  redraw() { if (this.said && !$("oven").hidden) this.draw(); }
}
