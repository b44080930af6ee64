// Boot: pages, preferences, the stream of events, and what is always on the screen.
import { act, ask, element, outcome, post, say, unlock } from "./ask.js";
import { Now } from "./now.js";
import { Schedules } from "./schedules.js";
import { Past } from "./past.js";
import { Oven } from "./oven.js";
import { Stream } from "./stream.js";
import { inUnit, isF, number, setF, temperature } from "./units.js";

const $ = (id) => document.getElementById(id);
const now = new Now(), pages = { now, schedules: new Schedules(), past: new Past(), oven: new Oven() };
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
window.addEventListener("hashchange", show);

function light(set) {
  let kept = null;
  try { if (set) localStorage.setItem("light", set); kept = localStorage.getItem("light"); } catch { /* private windows */ }
  document.documentElement.dataset.light = kept || set || (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light");
  now.redraw();
}
$("light").addEventListener("click", () => light(document.documentElement.dataset.light === "dark" ? "light" : "dark"));
$("unit").addEventListener("click", () => { setF(!isF()); words(); if (last) heard(last); show(); });
function words() { $("unit").textContent = isF() ? "°F" : "°C"; $("unit").setAttribute("aria-label", isF() ? "Show Celsius" : "Show Fahrenheit"); }

$("hold").addEventListener("click", () => act("/api/hold", {}, "holding at this temperature"));
$("proceed").addEventListener("click", () => act("/api/proceed", {}, "going on"));
$("skip").addEventListener("click", () => now.confirmSkip());
$("soak").addEventListener("click", () => now.soakLonger());
$("allow").addEventListener("click", async () => {
  const list = await pages.schedules.load(), field = element("select", { id: "allow-which" }, ...list.filter((s) => s.may).map((s) => element("option", { value: s.file }, s.name)));
  await ask("Allow a start from elsewhere", [element("p", {}, "One start of one schedule, as it is now, within five minutes. Look into the oven first."), element("label", { for: "allow-which" }, "Which schedule"), field], "Allow it", async () => {
    const said = await post("/api/arm", { file: field.value });
    if (said.ok) say(said.words);
    return outcome(said);
  });
});
$("pin-state").addEventListener("click", async () => { if (last?.unlocked_s > 0) { await post("/api/lock"); say("locked"); window.dispatchEvent(new Event("session")); } else { await unlock(); } });

function heard(said) {
  last = said;
  const s = said.status;
  document.title = `${said.demo ? "Demo: " : ""}${s.oven || "Oven"}${number(s.chamber_c) ? ` · ${temperature(s.chamber_c)}` : ""}`;
  $("demo").hidden = !said.demo;
  stale();
  $("oven-name").textContent = (s.oven || "") + (said.demo ? " · demo, nothing is heated" : "");
  $("pin-state").textContent = said.unlocked_s > 0 ? "Unlocked" : "PIN";
  $("pin-state").setAttribute("aria-label", said.unlocked_s > 0 ? "Unlocked; lock again" : "Enter the PIN");
  $("allow").hidden = !(said.local && !s.running);
  $("allow").textContent = said.armed_s > 0 ? `${said.armed_for} may be started from elsewhere, ${Math.ceil(said.armed_s / 60)} min` : "Allow a start from elsewhere";
  loud(said);
  now.heard(said);
  pages.schedules.heard(said);
}

const sentence = (words) => `${words.slice(0, 1).toUpperCase()}${words.slice(1)}.`;
let loudFor = null;
function loud(said) {
  const s = said.status, trips = s.trips || [];
  const key = JSON.stringify([said.fresh, said.words, s.danger, s.heat_proof, trips.map((t) => [t.fault, t.act]), s.running, isF()]);
  if (key === loudFor) return;
  loudFor = key;
  const parts = [];
  if (!said.fresh) parts.push(element("h2", {}, "The oven does not answer"), element("p", {}, said.words || "no connection"),
    element("p", {}, "What is shown is old. Look at the oven itself; its own interlocks do not need this page."));
  if (said.fresh && s.danger) parts.push(element("h2", {}, inUnit(s.danger)));
  let order = ""; // it is given once, before all trips that it answers; a danger begins with its own
  for (const t of said.fresh ? trips : []) {
    if (t.act !== order && !s.danger?.startsWith(`${t.act.split(".")[0]}:`)) parts.push(element("h2", {}, inUnit(order = t.act)));
    parts.push(element("p", {}, element("strong", {}, `${sentence(inUnit(t.seen))}`)),
      element("p", {}, inUnit(t.check || "")), element("p", {}, `Trip: ${t.fault.replaceAll("-", " ")}`));
  }
  if (said.fresh && trips.length && s.heat_proof) parts.push(element("p", {}, `${inUnit(s.heat_proof)}.`));
  if (said.fresh && trips.length) parts.push(s.running ? element("p", {}, "It is watched for five minutes more; then it can be acknowledged.")
    : element("div", { class: "row" }, element("button", { type: "button", id: "acknowledge", class: "do", onclick: () => now.acknowledge() }, "It has been seen to …")));
  $("loud").replaceChildren(...parts);
  // Nothing may cover it.
  if (parts.length && $("ask").open) $("ask-no").click();
}

// Old values are greyed and show their age.
const OLD_S = 3;
let heardAt = Date.now();
function stale() {
  const age = (last?.age_s || 0) + (Date.now() - heardAt) / 1000, old = !!last && (age > OLD_S || !last.fresh);
  document.body.classList.toggle("stale", old);
  $("age").hidden = !old;
  $("age").textContent = old ? `${age < 120 ? `${Math.round(age)} s` : `${Math.round(age / 60)} min`} old` : "";
}
const stream = new Stream((data) => { heardAt = Date.now(); heard(now.take(JSON.parse(data))); });
setInterval(() => {
  stale();
  const silent = Date.now() - heardAt;
  if (document.hidden || silent < 5000) return;
  if (last?.fresh) heard({ ...last, fresh: false, words: "no connection to the panel; trying again" });
  if (silent > 8000) stream.again();
}, 1000);

light(); words(); show();
