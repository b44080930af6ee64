// Boot: pages, choices, the stream of events, and what is always on the screen.
import { Alarms } from "./alarm.js";
import { act, ask, element, get, knowPin, outcome, post, say, unlock } from "./ask.js";
import { Far } from "./far.js";
import { Now } from "./now.js";
import { Oven } from "./oven.js";
import { Past } from "./past.js";
import { Schedules } from "./schedules.js";
import { Stream } from "./stream.js";
import { isComma, isF, isTwelve, number, setComma, setF, setTwelve, temperature } from "./units.js";
import { LANGUAGES, speak, spoken, w } from "./words.js";

const $ = (id) => document.getElementById(id);
export const now = new Now(), far = new Far(() => !$("now").hidden && !$("ask").open && $("stopping").hidden);
export const pages = { now, schedules: new Schedules(), past: new Past(), oven: new Oven() };
const alarm = new Alarms($("loud"), { acknowledge: () => now.acknowledge() });
const AWAY_MS = 60000;
let last = null;

function show() {
  const wanted = location.hash.slice(1) in pages ? location.hash.slice(1) : "now";
  for (const name of Object.keys(pages)) {
    $(name).hidden = name !== wanted;
    const link = document.querySelector(`[data-page="${name}"]`);
    if (name === wanted) link.setAttribute("aria-current", "page"); else link.removeAttribute("aria-current");
  }
  pages[wanted].shown?.(last);
}
window.addEventListener("hashchange", () => { document.querySelector("main").scrollTop = 0; show(); });

function light(set) {
  let kept = null;
  try { if (set) localStorage.setItem("light", set); kept = localStorage.getItem("light"); } catch { /* private windows */ }
  document.documentElement.dataset.light = kept || set || (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light");
  now.redraw(); far.curve.draw(); pages.oven.redraw?.(); pages.schedules.curve.draw(); pages.past.curve.draw();
}
$("light").addEventListener("click", () => light(document.documentElement.dataset.light === "dark" ? "light" : "dark"));
$("unit").addEventListener("click", () => { setF(!isF()); again(); });
// Every word and number of the page once more, after a choice.
function again() {
  $("unit").textContent = isF() ? "°F" : "°C"; $("unit").setAttribute("aria-label", isF() ? w("Show Celsius") : w("Show Fahrenheit"));
  now.flow.chosen = null; now.logged = null;
  if (last) heard(last);
  show();
}
$("choices").addEventListener("click", async () => {
  const pick = (id, words, options, value) => [element("label", { for: id }, words), element("select", { id }, ...options.map(([v, said]) => element("option", { value: v, selected: v === value }, said)))];
  const box = (id, words, on) => element("label", { class: "tick" }, element("input", { type: "checkbox", id, checked: on }), words);
  await ask(w("Language, time, sound"), [
    ...pick("choose-language", w("Language"), Object.entries(LANGUAGES), spoken()),
    ...pick("choose-hours", w("Time of day"), [["24", "14:05"], ["12", "2:05 pm"]], isTwelve() ? "12" : "24"),
    ...pick("choose-decimal", w("Decimal sign"), [[".", "0.5"], [",", "0,5"]], isComma() ? "," : "."),
    box("choose-sound", w("Alarms sound here"), alarm.audible), box("choose-far", w("Far view after a minute without a touch"), far.wanted),
  ], w("Keep"), async () => {
    setTwelve($("choose-hours").value === "12"); setComma($("choose-decimal").value === ",");
    alarm.audible = $("choose-sound").checked; far.wanted = $("choose-far").checked;
    await speak($("choose-language").value);
    return true;
  });
  again();
});

$("hold").addEventListener("click", () => act("/api/hold", {}, w("holding at this temperature")));
$("proceed").addEventListener("click", () => act("/api/proceed", {}, w("going on")));
$("skip").addEventListener("click", () => now.confirmSkip());
$("soak").addEventListener("click", () => now.soakLonger());
$("allow").addEventListener("click", async () => {
  const list = await pages.schedules.load(), field = element("select", { id: "allow-which" }, ...list.filter((s) => s.may).map((s) => element("option", { value: s.file }, s.name)));
  await ask(w("Allow a start from elsewhere"), [element("p", {}, w("One start of one schedule, as it is now, within five minutes. Look into the oven first.")), element("label", { for: "allow-which" }, w("Which schedule")), field], w("Allow it"), async () => {
    const said = await post("/api/arm", { file: field.value });
    if (said.ok) say(said.words);
    return outcome(said);
  });
});
$("pin-state").addEventListener("click", async () => {
  if (last?.unlocked_s > 0) { await post("/api/lock"); say(w("locked")); window.dispatchEvent(new Event("session")); } else { await unlock(); }
});

// The energy of this day's runs that are over; asked again when a run ends.
let folder = null;
async function day(said) {
  const key = `${said.status.folder} ${said.status.running} ${(said.clock || "").slice(0, 2)}`;
  if (key === folder || !said.fresh) return;
  folder = key;
  const runs = (await get("/api/runs").catch(() => ({}))).runs || [], today = said.day || "";
  now.day_j = runs.filter((r) => r.started.startsWith(today) && r.outcome !== "going on").reduce((a, r) => a + 3.6e6 * (r.energy_kwh || 0), 0);
}

export function heard(said) {
  last = said;
  const s = said.status;
  document.title = `${said.demo ? "Demo: " : ""}${s.oven || "Oven"}${number(s.chamber_c) ? ` · ${temperature(s.chamber_c)}` : ""}`;
  $("demo").hidden = !said.demo; knowPin(said.demo_pin);
  // At rest Stop does not shout; whenever heat is possible, or nothing is known, it does.
  document.body.classList.toggle("at-rest", said.fresh && !s.running && !s.waiting && !s.contactor && !s.danger && !s.trips?.length);
  stale();
  $("oven-name").textContent = s.oven || "";
  $("pin-state").textContent = said.unlocked_s > 0 ? w("Unlocked") : "PIN";
  $("pin-state").setAttribute("aria-label", said.unlocked_s > 0 ? w("Unlocked; lock again") : w("Enter the PIN"));
  $("allow").hidden = !(said.local && !s.running && !said.demo);
  $("allow").textContent = said.armed_s > 0 ? w("{what} may be started from elsewhere, {minutes} min", { what: said.armed_for, minutes: Math.ceil(said.armed_s / 60) }) : w("Allow a start from elsewhere");
  // Nothing may cover an alarm.
  const alarmed = alarm.list?.map((one) => one.key).join(), is = alarm.heard(said);
  if (is && alarm.list.map((one) => one.key).join() !== alarmed && $("ask").open) $("ask-no").click();
  // What comes while nobody is at the page is marked as new until the next touch.
  now.looked = Date.now() - far.touched > AWAY_MS || document.hidden ? now.looked ?? s.run_s : undefined;
  now.heard(said);
  far.heard(said, now.headline(s), now.curve.data);
  pages.schedules.heard(said);
  day(said);
}

// Old values are greyed and show their age.
const OLD_S = 3;
let heardAt = Date.now();
function stale() {
  const age = (last?.age_s || 0) + (Date.now() - heardAt) / 1000, old = !!last && (age > OLD_S || !last.fresh);
  document.body.classList.toggle("stale", old);
  $("age").hidden = !old;
  $("age").textContent = old ? w("{age} old", { age: age < 120 ? `${Math.round(age)} s` : `${Math.round(age / 60)} min` }) : "";
}
export const stream = new Stream((data) => { heardAt = Date.now(); heard(now.take(JSON.parse(data))); });
setInterval(() => {
  stale();
  const silent = Date.now() - heardAt;
  if (document.hidden || silent < 5000) return;
  if (last?.fresh) heard({ ...last, fresh: false, words: w("no connection to the panel; trying again") });
  if (silent > 8000) stream.again();
}, 1000);

if (spoken() !== "en") await speak(spoken());
light(); again();
