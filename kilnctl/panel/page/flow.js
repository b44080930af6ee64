// Where the watts go, as a picture: what comes from the supply at the left, where it goes at the right; widths in watts.
// Heat that is given back joins at the left. A tap on a flow says what it is.
import { element } from "./ask.js";
import { kwh, money, watts } from "./units.js";
import { w } from "./words.js";

const NS = "http://www.w3.org/2000/svg", BAR = 12, GAP = 14, TALL = 200, LEAST = 2, TEXT = 34;
// Entry of the model's ledger → what it is called here, its colour, what it is called when it comes back, its sentence.
export const FLOWS = {
  "into the elements": ["warms the elements", "--glow", "from the elements", "The elements themselves get hotter or colder; they give it to the chamber soon after."],
  "into the load": ["into the load", "--part", "from the load", "This is what heats the work: the heat that you came for."],
  "into the walls": ["stored in the walls", "--plan", "from the walls", "The walls take it up while they warm, and give it back when the oven cools."],
  "into air and sheet": ["into air and sheet", "--focus", "from air and sheet", "The air and the thin sheet of the chamber store little, so this changes fast."],
  "through the walls": ["through the walls", "--ember", "through the walls", "It goes through the insulation into the room for as long as the oven is hot."],
  "past the walls": ["door, leaks and vent", "--care-line", "by door and leaks", "It leaves past the walls: round the door, through holes and with the vented air."],
  "unexplained": ["not explained", "--ahead", "not explained", "The model cannot say where this goes: an open door, a wet load, or a description that is a little off."],
};
// While the door is open: the model does not count it.
const DOOR = ["mostly the door", "--ahead", "mostly the door", "The model does not count an open door: most of this leaves by it."];
const nice = (name, door) => (door && name === "unexplained" ? DOOR : FLOWS[name]) || [name, "--plan", name, "A part of the heat that leaves the oven."];

function drawn(name, attributes, ...inside) {
  const made = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...inside);
  return made;
}
function ribbon(x1, y1, x2, y2, high) {
  const m = (x1 + x2) / 2;
  return `M${x1} ${y1} C${m} ${y1} ${m} ${y2} ${x2} ${y2} L${x2} ${y2 + high} C${m} ${y2 + high} ${m} ${y1 + high} ${x1} ${y1 + high} Z`;
}
// The ledger of a moment in W (or of a run in J): {sources, sinks}, the largest first; what is too small to see is left out.
export function sorted(ledger, supply) {
  const entries = Object.entries(ledger), most = Math.max(supply, ...entries.map(([, v]) => Math.abs(v)), 1e-9);
  const seen = entries.filter(([, v]) => Math.abs(v) >= 0.01 * most);
  const order = (list) => list.sort((p, q) => q[1] - p[1]);
  return {
    sources: [...(supply >= 0.01 * most ? [["supply", supply]] : []), ...order(seen.filter(([, v]) => v < 0).map(([n, v]) => [n, -v]))],
    sinks: order(seen.filter(([, v]) => v > 0)),
  };
}

export class Flow {
  constructor(place) {
    this.place = place; this.chosen = null; this.wide = 0;
    // Drawn again when the screen is turned: letters keep their size.
    new ResizeObserver(() => { if (this.last && place.clientWidth && Math.abs(place.clientWidth - this.wide) > 40) this.show(this.last); }).observe(place);
  }
  // `value`: how a number is said; `more`: sentences below the picture; `door`: whether it is open.
  show({ ledger, supply, value = watts, more = [], door = false, empty = "no heat, nothing to share out" }) {
    this.last = { ledger, supply, value, more, door, empty }; this.wide = this.place.clientWidth;
    const { sources, sinks } = sorted(ledger || {}, supply || 0), total = Math.max(1e-9, sources.reduce((a, [, v]) => a + v, 0), sinks.reduce((a, [, v]) => a + v, 0));
    const held = document.activeElement?.dataset?.flow;
    if (!sources.length && !sinks.length) { this.place.replaceChildren(element("p", {}, w(empty)), ...more.map((m) => element("p", { class: "flow-sum" }, m))); return; }
    // Each end is at least as tall as its two lines of words.
    const room = TALL, scale = room / total, tall = (v) => Math.max(LEAST, v * scale), slot = (v) => Math.max(TEXT, tall(v)) + GAP;
    const left = sources.reduce((a, [, v]) => a + slot(v), 0), right = sinks.reduce((a, [, v]) => a + slot(v), 0), high = Math.max(left, right, room);
    const wide = Math.min(700, Math.max(330, this.place.clientWidth || 560)), middle = wide * 0.42, end = wide - 165;
    const svg = drawn("svg", { viewBox: `0 0 ${wide} ${Math.round(high)}`, class: "flow", role: "group", "aria-label": w("Where the watts go") });
    const hub = (high - room) / 2, texts = [];
    let y = (high - left) / 2, into = hub;
    for (const [name, v] of sources) {
      const at = y + (slot(v) - tall(v)) / 2;
      svg.append(this.path(name, v, ribbon(0, at, middle, into, tall(v)), value, name !== "supply"));
      texts.push(this.label(8, at + tall(v) / 2, name === "supply" ? w("supply") : w(nice(name, door)[2]), value(v)));
      y += slot(v); into += v * scale;
    }
    svg.append(drawn("rect", { x: middle, y: hub, width: BAR, height: room, fill: "var(--ink)", rx: 3 }));
    y = (high - right) / 2;
    let from = hub;
    for (const [name, v] of sinks) {
      const at = y + (slot(v) - tall(v)) / 2;
      svg.append(this.path(name, v, ribbon(middle + BAR, from, end, at, tall(v)), value, false));
      texts.push(this.label(end + 8, at + tall(v) / 2, w(nice(name, door)[0]), value(v)));
      y += slot(v); from += v * scale;
    }
    svg.append(...texts);
    const one = this.chosen && [...sources, ...sinks].find(([n]) => n === this.chosen);
    const words = one ? (one[0] === "supply" ? w("What the elements take from the supply: {value}.", { value: value(one[1]) }) : `${w(nice(one[0], door)[3])} ${value(one[1])}.`) : w("Touch a flow to see what it is.");
    this.place.replaceChildren(svg, element("p", { class: "flow-words", "aria-live": "polite" }, words), ...(more.length ? [element("p", { class: "flow-sum" }, ...more.map((m) => element("span", {}, m)))] : []));
    if (held) this.place.querySelector(`[data-flow="${held}"]`)?.focus();
  }
  path(name, v, d, value, back) {
    const colour = name === "supply" ? "--glow" : nice(name)[1];
    const made = drawn("path", { d, fill: `var(${colour})`, "fill-opacity": back ? 0.45 : 0.8, tabindex: 0, role: "button", "data-flow": name, "aria-pressed": String(this.chosen === name),
      "aria-label": `${name === "supply" ? w("supply") : w(nice(name, this.last.door)[0])} ${value(v)}` });
    const choose = () => { this.chosen = this.chosen === name ? null : name; this.show(this.last); };
    made.addEventListener("click", choose);
    made.addEventListener("keydown", (e) => { if (e.key === "Enter" || e.key === " ") { e.preventDefault(); choose(); } });
    return made;
  }
  label(x, y, words, figure) {
    return drawn("text", { x, y: y + 1, "pointer-events": "none" }, drawn("tspan", { class: "watt", x, dy: "-.15em" }, figure), drawn("tspan", { x, dy: "1.1em" }, words));
  }
}
// The day's and the run's energy, with money where a price is given.
export function sums(run_j, day_j, price) {
  const said = (key, j) => w(key, { energy: kwh(j) + (price ? `, ${money(j, price)}` : "") });
  return [said("this run {energy}", run_j), said("today {energy}", day_j)];
}
