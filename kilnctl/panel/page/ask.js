// Requests to the panel's server, and questions to the person: one dialog for all, with a PIN field when needed.
import { inUnit } from "./units.js";
import { w } from "./words.js";
const $ = (id) => document.getElementById(id);

export async function get(path) {
  const answer = await fetch(path, { credentials: "same-origin" });
  return answer.json();
}
// `body`: what becomes JSON, or a photograph. `signal` cancels the request; the result is then null.
export async function post(path, body = {}, signal = null) {
  const blob = body instanceof Blob;
  try {
    const answer = await fetch(path, { method: "POST", credentials: "same-origin", headers: { "content-type": blob ? body.type : "application/json" }, body: blob ? body : JSON.stringify(body), signal });
    const said = await answer.json();
    return { ...said, status: answer.status };
  } catch {
    if (signal?.aborted) return null;
    return { ok: false, status: 0, words: w("the panel does not answer; stop the heat at the oven itself if you must") };
  }
}
// A message disappears after the time that it takes to read it.
let leaves = 0;
export function say(words, ...more) {
  clearTimeout(leaves);
  $("said").replaceChildren(inUnit(words), ...more);
  if (words) leaves = setTimeout(() => $("said").replaceChildren(), Math.min(30000, Math.max(8000, 90 * String(words).length)));
}

export function element(name, attributes = {}, ...inside) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key === "onclick") made.addEventListener("click", value);
    else if (value === true) made.setAttribute(key, "");
    else if (value !== false && value !== null) made.setAttribute(key, value);
  }
  made.append(...inside.filter((i) => i !== null));
  return made;
}

// Result of a dialog's action: true, the reason for a refusal, or that the PIN is needed first.
export const PIN = Symbol("the PIN first");
export const outcome = (said) => (said.ok ? true : said.status === 401 ? PIN : inUnit(said.words));

// What the page says of the PIN where it is asked for; of a demo, the PIN itself.
let demoPin = "";
export const knowPin = (pin) => { demoPin = pin || ""; };
export function pinBlock() {
  const field = element("input", { id: "pin", inputmode: "none", autocomplete: "off", maxlength: "6", pattern: "[0-9]*", type: "password" });
  const press = (digit) => { field.value = digit === "⌫" ? field.value.slice(0, -1) : (field.value + digit).slice(0, 6); };
  const keys = element("div", { class: "keys" }, ..."123456789".split("").concat("⌫", "0").map((d) =>
    element("button", { type: "button", "aria-label": d === "⌫" ? w("delete") : d, onclick: () => press(d) }, d)));
  return element("div", { id: "ask-pin" }, element("div", {}, element("label", { for: "pin" }, w("PIN: the six digits")), field, element("p", {}, element("small", {}, demoPin ? w("This is a demo: its PIN is {pin}.", { pin: demoPin }) : w("It was shown once when the panel was set up; “kilnctl panel … --new-pin” makes another.")))), keys);
}
// Unlocks with the PIN in the dialog; returns null on success, else the reason.
async function opened() {
  const field = $("pin");
  if (field.value.length < 6) { field.focus(); return w("PIN: the six digits"); } // no try is lost
  const said = await post("/api/unlock", { pin: field.value });
  field.value = "";
  if (!said.ok) { field.focus(); return said.words; }
  $("ask-pin").remove();
  window.dispatchEvent(new Event("session"));
  return null;
}

// Resolves with the result of `does` when the person agrees and `does` does not refuse; else null.
export function ask(head, body, yes, does) {
  const dialog = $("ask");
  $("ask-head").textContent = head;
  $("ask-body").replaceChildren(...body);
  $("ask-yes").textContent = yes;
  $("ask-said").textContent = "";
  return new Promise((resolve) => {
    const form = dialog.querySelector("form");
    const done = (value) => {
      form.removeEventListener("submit", submit);
      dialog.removeEventListener("cancel", leave);
      $("ask-no").removeEventListener("click", leave);
      if (dialog.open) dialog.close();
      resolve(value);
    };
    const leave = () => done(null);
    const submit = async (event) => {
      event.preventDefault();
      if ($("ask-yes").disabled) return;
      $("ask-yes").disabled = true; $("ask-said").textContent = ""; $("ask-yes").textContent = w("One moment …");
      let refused = $("ask-pin") ? await opened() : null;
      if (refused === null) refused = await does();
      $("ask-yes").disabled = false; $("ask-yes").textContent = yes;
      if (refused === PIN) {
        // The PIN is asked for in the same dialog, so that typed text stays.
        if (!$("ask-pin")) $("ask-body").append(pinBlock());
        $("ask-said").textContent = w("The PIN first.");
        $("pin").focus();
      } else if (typeof refused === "string") $("ask-said").textContent = refused;
      else done(refused ?? true);
    };
    form.addEventListener("submit", submit);
    dialog.addEventListener("cancel", leave);
    $("ask-no").addEventListener("click", leave);
    dialog.showModal();
  });
}

export function unlock() { return ask("PIN", [pinBlock()], w("Unlock"), async () => true); }

// Do something that may need the PIN first.
export async function act(path, body, words) {
  let said = await post(path, body);
  if (said.status === 401) {
    if (!(await unlock())) return { ok: false, words: w("left as it is") };
    said = await post(path, body);
  }
  say(said.ok ? words || said.words : said.words);
  return said;
}
