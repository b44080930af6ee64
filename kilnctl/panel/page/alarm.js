// Alarms: one sentence, one action, steady words. Only the border of an urgent one flashes, for its first seconds; its
// sound can be silenced for a minute. Three levels: high (act now), middle (look soon), low (a note next to the figures).
import { element } from "./ask.js";
import { inUnit } from "./units.js";
import { w } from "./words.js";

const SILENT_MS = 60000, EVERY_MS = { high: 2500, middle: 15000 }, TONES = { high: [988, 784, 988], middle: [659, 523] };
const sentence = (words) => (words ? `${words.slice(0, 1).toUpperCase()}${words.slice(1)}${/[.!?]$/.test(words) ? "" : "."}` : "");

// The present alarms, the most urgent first: {level, head, words: [], more: [], act}. A danger comes before its trips.
export function alarms(said) {
  const s = said.status, trips = s.trips || [], list = [];
  if (!said.fresh) {
    return [{ level: "middle", key: "silent", head: w("The oven does not answer"), words: [inUnit(said.words || "") || w("no connection")], more: [w("What is shown is old. Look at the oven itself; its own interlocks do not need this page.")] }];
  }
  if (s.danger) { const [head, ...rest] = inUnit(s.danger).split(/(?<=[.]) /); list.push({ level: "high", key: `danger ${s.danger}`, head, words: rest.length ? [sentence(rest.join(" "))] : [], more: [] }); }
  let told = s.danger?.split(":")[0] || "";
  for (const t of trips) {
    const order = t.act.split(".")[0] === told.split(".")[0] ? "" : inUnit(told = t.act); // an order is given once, before all that it answers
    const one = { level: "high", key: `trip ${t.fault}`, head: order, words: [sentence(inUnit(t.seen))], more: [inUnit(t.check || ""), `${w("Trip")}: ${t.fault.replaceAll("-", " ")}.`] };
    if (order || !list.length) list.push({ ...one, head: one.head || sentence(inUnit(t.seen)) });
    else { list.at(-1).words.push(...one.words); list.at(-1).more.push(...one.more); }
  }
  // What several trips ask for is said once.
  const asked = new Set();
  for (const one of list) {
    one.more = one.more.map((words) => words.split(/(?<=[.]) /).filter((x) => !asked.has(x) && (asked.add(x), true)).join(" ")).filter(Boolean);
  }
  if (list.length && trips.length) {
    if (s.heat_proof) list.at(-1).more.push(sentence(inUnit(s.heat_proof)));
    if (s.running) list.at(-1).words.push(w("It is watched for five minutes more; then it can be acknowledged."));
    else list.at(-1).act = "acknowledge";
  }
  return list;
}

export class Alarms {
  // `does`: {acknowledge}: what the button of that name does.
  constructor(place, does) {
    this.place = place; this.does = does; this.key = null; this.quiet = 0; this.seen = new Set();
    setInterval(() => this.sound(), 500);
  }
  get audible() { try { return localStorage.getItem("sound") !== "off"; } catch { return true; } }
  set audible(on) { try { localStorage.setItem("sound", on ? "on" : "off"); } catch { /* private windows */ } }
  // Returns whether there is an alarm.
  heard(said) {
    const list = alarms(said), key = JSON.stringify([list, w("Trip"), Date.now() < this.quiet]);
    this.list = list;
    if (key === this.key) return list.length > 0;
    this.key = key;
    const open = [...this.place.querySelectorAll("details[open]")].length > 0;
    this.place.replaceChildren(...list.map((one, i) => this.part(one, i === 0, open)));
    for (const one of list) this.seen.add(one.key);
    for (const old of this.seen) if (!list.some((one) => one.key === old)) this.seen.delete(old);
    return list.length > 0;
  }
  part(one, first, open) {
    const acts = [];
    if (first && this.audible && this.level() && Date.now() >= this.quiet) acts.push(element("button", { type: "button", id: "silence", onclick: () => this.silence() }, w("Silence for a minute")));
    if (one.act === "acknowledge") acts.unshift(element("button", { type: "button", id: "acknowledge", onclick: this.does.acknowledge }, w("Acknowledge …")));
    const more = one.more.filter(Boolean);
    return element("section", { class: this.seen.has(one.key) ? "alarm" : "alarm new", "data-level": one.level }, element("span", { class: "sign", "aria-hidden": "true" }, one.level === "high" ? "!" : "?"),
      element("div", {}, element("h2", {}, one.head), ...one.words.map((x) => element("p", {}, element("strong", {}, x)))),
      element("div", { class: "acts" }, ...acts), element("div", { class: "detail" }, ...more.map((x) => element("p", {}, x))));
  }
  level() { return this.list?.some((a) => a.level === "high") ? "high" : this.list?.length ? "middle" : ""; }
  silence() { this.quiet = Date.now() + SILENT_MS; this.last = 0; this.key = null; document.getElementById("silence")?.remove(); }
  // Browsers let a page sound only after a person has touched it; without that the alarm is silent, and seen.
  sound() {
    const level = this.level(), now = Date.now();
    if (!level || !this.audible || now < this.quiet || document.hidden || now - (this.last || 0) < EVERY_MS[level]) return;
    if (!navigator.userActivation?.hasBeenActive) return;
    this.last = now;
    this.player ||= new AudioContext();
    const start = this.player.currentTime + 0.03;
    TONES[level].forEach((pitch, i) => {
      const tone = this.player.createOscillator(), gain = this.player.createGain(), at = start + 0.22 * i;
      tone.frequency.value = pitch; tone.type = "triangle";
      gain.gain.setValueAtTime(0, at); gain.gain.linearRampToValueAtTime(0.25, at + 0.02); gain.gain.linearRampToValueAtTime(0, at + 0.18);
      tone.connect(gain).connect(this.player.destination); tone.start(at); tone.stop(at + 0.2);
    });
  }
}
