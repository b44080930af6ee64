// The safety chain: a line from the mains to the heat. The server says of each link whether it is proved, open on
// purpose, unproved or refusing, and why there is no heat.
import { element } from "./ask.js";
import { inUnit } from "./units.js";
import { w } from "./words.js";

const upper = (words) => words.replace(/^./, (x) => x.toUpperCase());
const NS = "http://www.w3.org/2000/svg";
const SIGNS = { proved: "M-4 0 L-1 3.5 L5 -3.5", refusing: "M-4 -4 L4 4 M4 -4 L-4 4" };
export const STATES = { proved: "proved", unproved: "not proved", refusing: "refuses the heat", open: "open, as it should be at rest", none: "this oven has none" };

function drawn(name, attributes) {
  const made = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
}
function link({ name, state, words }, chosen, onclick) {
  const picture = drawn("svg", { viewBox: "-40 -11 80 22", "aria-hidden": "true" });
  picture.append(drawn("line", { x1: -200, x2: 200, y1: 0, y2: 0, class: "wire" }), drawn("circle", { r: 8.5, class: "dot" }));
  if (SIGNS[state]) picture.append(drawn("path", { d: SIGNS[state], class: "mark" }));
  return element("li", { "data-state": state }, element("button", { type: "button", "aria-expanded": String(chosen === name), "aria-label": `${upper(w(name))}: ${w(STATES[state])}. ${upper(inUnit(words))}.`, onclick }, picture, w(name)));
}

export class Chain {
  constructor(list, why) { this.list = list; this.why = why; this.chosen = null; }
  // `said`: {links: [{name, state, words}], why}; a tap on a link says its sentence instead of the whole chain's.
  heard(said) {
    this.said = said;
    const key = JSON.stringify([said, this.chosen, w("mains")]);
    if (key === this.key) return;
    this.key = key;
    const held = document.activeElement?.closest?.(".chain li"), at = held ? [...this.list.children].indexOf(held) : -1;
    this.list.replaceChildren(...said.links.map((l) => link(l, this.chosen, () => { this.chosen = this.chosen === l.name ? null : l.name; this.heard(this.said); })));
    if (at >= 0) this.list.children[at]?.firstChild.focus();
    const one = said.links.find((l) => l.name === this.chosen);
    this.why.textContent = one ? `${upper(w(one.name))}: ${w(STATES[one.state])}. ${upper(inUnit(one.words))}.` : inUnit(said.why);
  }
}
