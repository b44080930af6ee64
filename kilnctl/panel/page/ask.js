// Asking the panel's server, and asking the person: one dialog for everything.
const $ = (id) => document.getElementById(id);

export async function get(path) {
  const answer = await fetch(path, { credentials: "same-origin" });
  return answer.json();
}
export async function post(path, body = {}) {
  try {
    const answer = await fetch(path, { method: "POST", credentials: "same-origin", headers: { "content-type": "application/json" }, body: JSON.stringify(body) });
    const said = await answer.json();
    return { ...said, status: answer.status };
  } catch {
    return { ok: false, status: 0, words: "the panel does not answer; stop the heat at the oven itself if you must" };
  }
}
export function say(words) { $("said").textContent = words; }

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

// Resolves with what `read` gives when the person agrees and `act` (which may refuse in words) is content; null when not.
export function ask(head, body, yes, act) {
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
      $("ask-yes").disabled = true;
      const refused = await act();
      $("ask-yes").disabled = false;
      if (typeof refused === "string") $("ask-said").textContent = refused;
      else done(refused ?? true);
    };
    form.addEventListener("submit", submit);
    dialog.addEventListener("cancel", leave);
    $("ask-no").addEventListener("click", leave);
    dialog.showModal();
  });
}

export async function unlock() {
  const field = element("input", { id: "pin", inputmode: "numeric", autocomplete: "off", maxlength: "6", pattern: "[0-9]*", type: "password" });
  const press = (digit) => { field.value = digit === "⌫" ? field.value.slice(0, -1) : (field.value + digit).slice(0, 6); };
  const keys = element("div", { class: "keys" }, ..."123456789".split("").concat("⌫", "0").map((d) =>
    element("button", { type: "button", "aria-label": d === "⌫" ? "delete" : d, onclick: () => press(d) }, d)));
  const label = element("label", { for: "pin" }, "The six digits");
  return ask("PIN", [label, field, keys], "Unlock", async () => {
    const said = await post("/api/unlock", { pin: field.value });
    field.value = "";
    if (said.ok) window.dispatchEvent(new Event("session"));
    return said.ok ? true : said.words;
  });
}

// Do something that may want the PIN first.
export async function act(path, body, words) {
  let said = await post(path, body);
  if (said.status === 401) {
    if (!(await unlock())) return { ok: false, words: "left as it is" };
    said = await post(path, body);
  }
  say(said.ok ? words || said.words : said.words);
  return said;
}
