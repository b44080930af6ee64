// The page /parts: every part of the panel in every state, with made-up values, by the modules that the panel uses.
import { Alarms } from "./alarm.js";
import { Chain } from "./chain.js";
import { Curve } from "./curve.js";
import { Flow, sums } from "./flow.js";
import { stepper } from "./steps.js";

const $ = (id) => document.getElementById(id);
let kept = null;
try { kept = localStorage.getItem("light"); } catch { /* private windows */ }
document.documentElement.dataset.light = kept || (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light");
$("p-bar").style.width = "40%";
$("p-stepper").append(stepper({ id: "p-to", label: "to", value: "200 °C", step: () => {} }));

const state = { mains: "proved", limiter: "unproved", contactor: "open", relay: "open", door: "refusing", airflow: "none", sensors: "proved", board: "proved", permit: "open" };
new Chain($("p-chain"), $("p-why")).heard({ links: Object.entries(state).map(([name, at]) => ({ name, state: at, words: "a sample" })), why: "No heat: the door is open." });
new Flow($("p-flow")).show({
  supply: 1800, more: sums(4.3e6, 9.8e6, { amount: 0.3, currency: "EUR", before: false }),
  ledger: { "into the load": 600, "into the walls": 700, "through the walls": 310, "past the walls": 240, "into the elements": -90, "into air and sheet": 40 },
});

const trip = { fault: "sensor-open", act: "Leave it shut. Let it cool.", seen: "the control thermocouple is open", check: "Then check its plug and wire." };
for (const said of [
  { fresh: true, status: { trips: [trip], running: false } },
  { fresh: true, status: { trips: [], danger: "SWITCH OFF AT THE MAIN SWITCH NOW: heat cannot be cut from here" } },
  { fresh: false, words: "no connection to the panel; trying again", status: { trips: [] } },
]) {
  const place = document.createElement("div");
  $("p-alarms").append(place);
  const one = new Alarms(place, { acknowledge: () => {} });
  one.heard(said); one.silence();
}

const row = [...Array(241).keys()], time_s = row.map((i) => 30 * i), now = 3600, at = (t) => Math.min(180, 20 + t / 15);
const past = time_s.filter((t) => t <= now), ahead = time_s.filter((t) => t >= now), wave = (t) => Math.sin(t / 17) + Math.sin(t / 41);
const expected = (t) => (t < 5400 ? at(t) : 180 - (t - 5400) / 20);
new Curve($("p-curve"), { legend: $("p-legend"), onRead: (words) => { $("p-readout").textContent = words; } }).set({
  now, full_w: 3000,
  lines: [
    { kind: "should", time_s, values: time_s.map(expected) },
    { kind: "expected", time_s: ahead, values: ahead.map(expected), low: ahead.map((t) => expected(t) - (t - now) / 400), high: ahead.map((t) => expected(t) + (t - now) / 400) },
    { kind: "estimated", time_s: past, values: past.map((t) => at(t) - 24), low: past.map((t) => at(t) - 30), high: past.map((t) => at(t) - 18) },
    { kind: "part", time_s: past, values: past.map((t) => at(t) - 22 + 0.3 * wave(t)) },
    { kind: "chamber", time_s: past, values: past.map((t) => at(t) + 0.5 * wave(t) - (t > 2000 && t < 2300 ? 15 : 0)) },
  ],
  bars: [{ time_s: past, values: past.map((t) => 0.5 + 0.2 * Math.sin(t / 300)) }],
  soaks: [{ from: 2400, to: 5400, at_c: 180 }], phases: [{ from: 0, to: 2400, words: "ramp" }, { from: 2400, to: 5400, words: "soak" }, { from: 5400, to: 7200, words: "cool" }],
  marks: [{ time_s: 600, kind: "step", words: "ramp" }, { time_s: 1200, kind: "hold", words: "hold" }, { time_s: 2000, kind: "door", words: "door open" }, { time_s: 2900, kind: "supply", words: "supply low" }, { time_s: 3400, kind: "trip", words: "heat cut" }],
});
