// Boot: pages, preferences, the stream of events, and what is always on the screen.
import { act, element, post, say, unlock } from "./ask.js";
import { Now } from "./now.js";
import { Schedules } from "./schedules.js";
import { Past } from "./past.js";
import { Oven } from "./oven.js";
import { isF, setF } from "./units.js";

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

// A dialog makes the page behind it dead: it has a stop of its own.
for (const id of ["stop", "ask-stop"]) $(id).addEventListener("click", async () => {
  if ($("ask").open) $("ask-no").click();
  say("cutting the heat …");
  const said = await post("/api/stop");
  say(said.words || "asked");
});
$("hold").addEventListener("click", () => act("/api/hold", {}, "holding at this temperature"));
$("proceed").addEventListener("click", () => act("/api/proceed", {}, "going on"));
$("skip").addEventListener("click", () => now.confirmSkip());
$("soak").addEventListener("click", () => now.soakLonger());
$("allow").addEventListener("click", () => act("/api/arm"));
$("pin-state").addEventListener("click", async () => { if (last?.unlocked_s > 0) { await post("/api/lock"); say("locked"); window.dispatchEvent(new Event("session")); } else { await unlock(); } });

function heard(said) {
  last = said;
  const s = said.status;
  document.title = `${s.oven || "Oven"}${typeof s.chamber_c === "number" ? ` · ${Math.round(s.chamber_c)} °C` : ""}`;
  $("oven-name").textContent = (s.oven || "") + (said.demo ? " · demo, nothing is heated" : "");
  $("pin-state").textContent = said.unlocked_s > 0 ? "Unlocked" : "PIN";
  $("pin-state").setAttribute("aria-label", said.unlocked_s > 0 ? "Unlocked; lock again" : "Enter the PIN");
  $("allow").hidden = !(said.local && !s.running);
  $("allow").textContent = said.armed_s > 0 ? `Start from elsewhere allowed, ${Math.ceil(said.armed_s / 60)} min` : "Allow a start from elsewhere";
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
  if (said.fresh && s.danger) parts.push(element("h2", {}, s.danger));
  for (const t of said.fresh ? trips : []) parts.push(element("h2", {}, t.act), element("p", {}, element("strong", {}, `${sentence(now.temper(t.seen))}`)),
    element("p", {}, now.temper(t.check || "")), element("p", {}, `Trip: ${t.fault.replaceAll("-", " ")}`));
  if (said.fresh && trips.length && s.heat_proof) parts.push(element("p", {}, `${s.heat_proof}.`));
  if (said.fresh && trips.length) parts.push(s.running ? element("p", {}, "It is watched for five minutes more; then it can be acknowledged.")
    : element("div", { class: "row" }, element("button", { type: "button", id: "acknowledge", class: "do", onclick: () => now.acknowledge() }, "It has been seen to …")));
  $("loud").replaceChildren(...parts);
  // Nothing may stand before it.
  if (parts.length && $("ask").open) $("ask-no").click();
}

// The stream. Its ids say what this page has; after a break it is asked for the rest.
let source = null, heardAt = 0, have = "";
function listen() {
  source?.close();
  source = new EventSource("/api/events" + (have ? `?from=${have}` : ""));
  source.onmessage = (event) => { heardAt = Date.now(); have = event.lastEventId || have; heard(now.take(JSON.parse(event.data))); };
}
// A stream speaks for the session that it was opened with.
window.addEventListener("session", () => listen());
setInterval(() => {
  if (heardAt && Date.now() - heardAt > 5000) { if (last) heard({ ...last, fresh: false, words: "no connection to the panel; trying again" }); if (Date.now() - heardAt > 8000) { heardAt = Date.now() - 5001; listen(); } }
}, 1000);
document.addEventListener("visibilitychange", () => { if (!document.hidden && heardAt && Date.now() - heardAt > 4000) listen(); });

light(); words(); show(); heardAt = Date.now(); listen();
