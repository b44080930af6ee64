// "Ready at …": a start that waits, so that its run is over at a time of day, with nobody there.
import { PIN, ask, element, outcome, post, say } from "./ask.js";
import { at, clock, inUnit, seconds } from "./units.js";
import { w } from "./words.js";

const $ = (id) => document.getElementById(id);

// `page`: the page of schedules with the schedule that is open.
export async function later(page) {
  const question = { file: page.file, seen: page.seen, confirm: false, ready_at: "", who: "" }, p = page.plan;
  const look = await post("/api/later", { ...question, only_look: true });
  if (!look.ok) return say(look.words);
  const ovens = seconds(page.said.clock), soonest = ovens + p.duration_s + 600, two = (n) => String(Math.floor(n)).padStart(2, "0");
  const when = element("input", { id: "later-at", type: "time", value: `${two((soonest / 3600) % 24)}:${two(Math.ceil(((soonest / 60) % 60) / 5) * 5 % 60)}` });
  const who = element("input", { id: "later-who", maxlength: "60", autocomplete: "off" }), begins = element("p", { id: "later-begins" });
  const show = () => { const [h, m] = when.value.split(":").map(Number), wait = (((h * 60 + m) * 60 - p.duration_s - ovens) % 86400 + 86400) % 86400; begins.textContent = Number.isFinite(wait) ? w("It takes {time}, so it begins at about {at}. A stop calls it off.", { time: clock(p.duration_s), at: at(wait, page.said.clock) }) : ""; };
  when.addEventListener("input", show); show();
  const lacks = look.missing.map((words) => element("li", {}, inUnit(words)));
  const done = await ask(w("Ready at a time of day"), [
    ...(lacks.length ? [element("div", { class: "care" }, element("strong", {}, w("This is missing for a start with nobody there:")), element("ul", {}, ...lacks), ...(look.missing.some((x) => x.includes("unattended")) ? [element("p", {}, w("Add the line “unattended: yes” below its name, as text, if this load may heat with nobody there."))] : []))] : []),
    element("label", { for: "later-at" }, w("Over at")), when, begins,
    element("label", { for: "later-who" }, w("Who has looked into the oven, shut the door, and allows it")), who,
    element("p", {}, w("Nobody is there to see smoke or a fault. Local rules, and your insurer, may forbid unattended heating; leave a smoke or heat detector on, and nothing that burns near the oven.")),
    ...(look.switch ? [] : [element("p", { class: "care" }, w("No switch tells whether the door is shut; nobody sees it if it is not."))]),
  ], w("Let it wait"), async () => {
    const said = await post("/api/later", { ...question, ready_at: when.value, who: who.value, only_look: false });
    if (said.status === 401) return PIN;
    if (said.confirm) { question.confirm = true; return w("These limits are unlike the last run's: {limits}.", { limits: inUnit([].concat(said.confirm).join("; ")) }) + ` ${w("Press again if they are right.")}`; }
    if (said.ok) say(said.words);
    return outcome(said);
  });
  if (done) location.hash = "now";
}
