// The far view: what a person reads from three metres. It comes when nobody has touched the page "Now" for a minute, and
// goes at a touch. The footer with Stop stays below it.
import { element } from "./ask.js";
import { Curve } from "./curve.js";
import { at, clock, degrees, fixed, number, unit, watts } from "./units.js";
import { w } from "./words.js";

const $ = (id) => document.getElementById(id);
const UNTOUCHED_MS = 60000;

export class Far {
  // `may()`: whether it may come now.
  constructor(may) {
    this.curve = new Curve($("far-curve"), { bare: true }); this.touched = Date.now(); this.may = may;
    for (const name of ["pointerdown", "pointermove", "keydown", "wheel", "touchstart"]) window.addEventListener(name, (e) => this.touch(e), { capture: true, passive: true });
    $("far").addEventListener("click", () => this.leave());
    setInterval(() => this.look(), 1000);
  }
  get wanted() { try { return localStorage.getItem("far") !== "off"; } catch { return true; } }
  set wanted(on) { try { localStorage.setItem("far", on ? "on" : "off"); } catch { /* private windows */ } }
  get shown() { return !$("far").hidden; }
  // A hand that wakes the page must press nothing below: the click ends on the far view itself.
  touch(e) { this.touched = Date.now(); if (this.shown && e.type !== "pointermove" && e.type !== "pointerdown" && e.type !== "touchstart" && !e.target.closest?.("footer")) this.leave(); }
  look() { if (!this.shown && this.wanted && this.may() && Date.now() - this.touched > UNTOUCHED_MS) this.come(); }
  come() {
    $("far").hidden = false; document.body.classList.add("far");
    if (this.last) this.heard(...this.last);
    this.fit(); this.curve.draw();
  }
  // Between the alarms and the footer, whose heights change: Stop is never covered.
  fit() {
    $("far").style.setProperty("--foot", `${document.querySelector("footer.bar").offsetHeight}px`);
    $("far").style.top = `${$("loud").offsetHeight}px`;
  }
  leave() { if (!this.shown) return; $("far").hidden = true; document.body.classList.remove("far"); this.touched = Date.now(); }
  heard(said, state, data) {
    this.last = [said, state, data];
    if (!this.shown) return;
    const s = said.status, end = said.milestones?.at(-1), tripped = !!s.trips?.length;
    this.fit();
    $("far-state").replaceChildren(element("span", {}, state), ...(said.demo ? [element("span", { class: "demo" }, w("Demo, nothing is heated"))] : []));
    $("far-figure").replaceChildren(number(s.chamber_c) ? fixed(degrees(s.chamber_c), 0) : "", element("small", {}, number(s.chamber_c) ? unit() : w("no reading")));
    $("far-state").dataset.care = String(!!s.running && !!s.door_open && !tripped && !s.danger);
    $("far-row").replaceChildren(...(said.fresh ? this.row(said, tripped, end) : [element("span", { "data-bad": "true" }, w("the oven does not answer")), element("span", {}, $("age").textContent)]));
    this.curve.set({ ...data, lines: data.lines.filter((l) => ["chamber", "expected", "should"].includes(l.kind)), marks: [] });
  }
  row(said, tripped, end) {
    const s = said.status, heat = s.running && s.contactor && !tripped;
    const rows = [element("span", { "data-on": String(!!heat && s.duty > 0) }, heat ? w("heat on, {watts}", { watts: watts((s.duty || 0) * (s.full_w || 0), 1) }) : s.danger ? w("heat cannot be cut") : w("heat off"))];
    if (s.door_open) rows.push(element("span", { "data-care": "true" }, said.door?.is_open ? w("door open for {time}", { time: clock(said.door.open_s) }) : w("door open")));
    else if (s.door_open === false) rows.push(element("span", {}, w("door shut")));
    if (end && s.running && !tripped && !s.door_open) rows.push(element("span", {}, said.demo || !said.clock ? w("done in {time}", { time: clock(end.in_s) }) : w("done at {at}", { at: at(end.in_s, said.clock) })));
    return rows;
  }
}
