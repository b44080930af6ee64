// Stop. It needs no other part of the page and waits for none. It asks at a port of its own (so on other connections) and at the page's own server,
// again and again, until the oven says that its heat is off. If that is not confirmed after 2 s, the page says so in its largest letters.
const $ = (id) => document.getElementById(id);
// Its words stand in the page, where the language is changed; without that they are in English.
const w = (words) => document.querySelector(`#stop-says [data-w="${words}"]`)?.textContent || words;
const CONFIRM_MS = 2000, AGAIN_MS = 250, ONE_MS = 2500, SHOWN_MS = 6000;
const port = document.querySelector('meta[name="stop-port"]').content;
const door = port && location.protocol === "http:" ? `http://${location.hostname}:${port}/stop` : null;
let press = 0, leaves = 0;

async function confirmed(answer) {
  const said = await (await answer).json();
  if (said.confirmed !== true) throw new Error(said.words || "no answer");
}
// Resolves as soon as one of the two requests is confirmed.
function once() {
  const signal = AbortSignal.timeout(ONE_MS), roads = [];
  if (door) roads.push(fetch(door, { method: "POST", mode: "cors", credentials: "omit", cache: "no-store", headers: { "content-type": "text/plain" }, body: "stop", keepalive: true, signal }));
  roads.push(fetch("/api/stop", { method: "POST", credentials: "same-origin", cache: "no-store", headers: { "content-type": "application/json" }, body: "{}", keepalive: true, signal }));
  return Promise.any(roads.map(confirmed));
}
function show(state, head, words) {
  clearTimeout(leaves);
  $("stopping").hidden = false; $("stopping").dataset.state = state;
  $("stopping-head").textContent = head; $("stopping-words").textContent = words;
  $("stopping-close").hidden = state !== "unconfirmed";
  if (state === "off") leaves = setTimeout(() => { $("stopping").hidden = true; }, SHOWN_MS);
}
function unconfirmed(words) {
  if ($("stopping").dataset.state === "unconfirmed" && !$("stopping").hidden) { if (words) $("stopping-words").textContent = words; return; }
  show("unconfirmed", w("NOT CONFIRMED: press the emergency stop"), words || w("The oven has not said that its heat is off. Stop it at the oven itself. This page goes on asking."));
}
async function stop() {
  const mine = ++press, began = performance.now();
  if ($("ask").open) $("ask-no").click(); // a dialog makes the page behind it dead
  show("asking", w("Cutting the heat …"), "");
  let words = "", done = false;
  const late = setTimeout(() => { if (mine === press && !done) unconfirmed(words); }, CONFIRM_MS);
  while (mine === press && !done) {
    try {
      await once();
      done = true;
      if (mine !== press) break;
      const seconds = ((performance.now() - began) / 1000).toFixed(1);
      show("off", w("The heat is off"), w("No run goes on; confirmed after {seconds} s.").replace("{seconds}", seconds));
    } catch (error) {
      words = error.errors?.map((e) => e.message).find((m) => m.startsWith("NOT CONFIRMED"))?.replace(/^NOT CONFIRMED: */, "") || words;
      if (mine === press && performance.now() - began > CONFIRM_MS) unconfirmed(words);
      await new Promise((next) => setTimeout(next, AGAIN_MS));
    }
  }
  clearTimeout(late);
}
for (const id of ["stop", "ask-stop"]) $(id).addEventListener("click", stop);
// The person has dealt with it: the page stops asking.
$("stopping-close").addEventListener("click", () => { press++; $("stopping").hidden = true; });
