// The steps of a schedule as a table with large steppers; its text stays the truth. A change here rewrites the block
// `steps:` of the text and leaves the rest of it as it is.
import { element } from "./ask.js";
import { w } from "./words.js";

const FIELDS = [["to", "to", ""], ["at", "at a rate of", "full power"], ["in", "in a time of", ""], ["hold", "hold for", "no time"], ["within", "counts within", ""]];
const STEPS = [[/°?[CF]\/h|K\/h/, 10], [/°?[CF]\/min|K\/min/, 1], [/°F/, 10], [/°?C$|°C/, 5], [/\bmin\b/, 5], [/\bh\b/, 0.5], [/\bs\b/, 30], [/\bK\b/, 1]];
const EMPTY = { to: "100 °C", at: "100 °C/h", in: "30 min", hold: "10 min", within: "3 K" };

// "200 °C", +1 → "205 °C": the number's step depends on its unit; an empty field begins with a usual value.
export function stepped(text, direction, field) {
  const found = /^\s*(-?\d+(?:\.\d+)?)(.*)$/.exec(text);
  if (!found) return direction > 0 ? EMPTY[field] || text : text;
  const unit = found[2], by = STEPS.find(([unitOf]) => unitOf.test(unit.trim()))?.[1] || 1, value = Number(found[1]);
  const next = direction > 0 ? Math.floor(value / by + 1 + 1e-9) * by : Math.ceil(value / by - 1 - 1e-9) * by;
  if (next <= 0) return field === "to" || field === "within" ? text : "";
  return `${Number(next.toFixed(3))}${unit}`;
}
// A field with − and +; `step(direction)` and `typed(text)` change it.
export function stepper({ id, label, value, step, typed = () => {}, hint = "" }) {
  const input = element("input", { id, value, placeholder: hint, autocomplete: "off", spellcheck: "false" });
  input.addEventListener("change", () => typed(input.value.trim()));
  return element("label", { for: id }, label, element("span", { class: "stepper" },
    element("button", { type: "button", "aria-label": `${label}: ${w("less")}`, onclick: (e) => { e.preventDefault(); step(-1); } }, "−"), input,
    element("button", { type: "button", "aria-label": `${label}: ${w("more")}`, onclick: (e) => { e.preventDefault(); step(1); } }, "+")));
}
const plain = (text) => (/^[\w°][\w°/.,()+ -]*$/.test(text) && !/^(yes|no|true|false|null)$/i.test(text) && !/ #|: /.test(text) ? text : JSON.stringify(text));
// The text with these steps instead of its own. Comments among the steps go; everything else stays.
export function withSteps(text, steps) {
  const lines = text.split("\n"), start = lines.findIndex((l) => /^steps\s*:/.test(l));
  const block = ["steps:"];
  for (const step of steps) {
    const rows = Object.entries(step).filter(([, v]) => v !== "").map(([k, v]) => `${k}: ${k === "let cool" ? v : plain(v)}`);
    rows.forEach((row, i) => block.push(`${i ? "    " : "  - "}${row}`));
  }
  if (start < 0) return `${text.replace(/\n*$/, "\n")}${block.join("\n")}\n`;
  let end = start + 1;
  while (end < lines.length && !/^[^\s#-]/.test(lines[end])) end++;
  while (end > start + 1 && /^(\s*|#.*)$/.test(lines[end - 1])) end--;
  return [...lines.slice(0, start), ...block, ...lines.slice(end)].join("\n");
}

export class Steps {
  // `changed(text)`: the new text.
  constructor(place, { text, changed }) { this.place = place; this.text = text; this.changed = changed; this.rows = []; }
  // The steps as the server reads them in the text; null where the text has none that a table can show.
  show(rows) {
    const held = document.activeElement?.id;
    this.rows = rows || [];
    this.place.replaceChildren(...(rows ? rows.map((row, i) => this.part(row, i)) : [element("p", { class: "care" }, w("The text cannot be read as a table of steps yet: change it as text."))]));
    if (held?.startsWith("step-")) document.getElementById(held)?.focus();
  }
  part(row, i) {
    const name = element("input", { id: `step-name-${i}`, value: row.name || "", placeholder: w("name of the step"), autocomplete: "off" });
    name.addEventListener("change", () => this.put(i, "name", name.value.trim()));
    const cool = element("input", { type: "checkbox", id: `step-cool-${i}`, checked: row["let cool"] === "yes" });
    cool.addEventListener("change", () => { const to = { ...row, at: "", in: "", "let cool": cool.checked ? "yes" : "" }; this.rows[i] = to; this.tell(); });
    const shown = FIELDS.filter(([key]) => row[key] || key === "to" || key === "hold" || (key === "at" && !row.in && row["let cool"] !== "yes"));
    return element("section", { class: "card step", "aria-label": w("Step {number}", { number: i + 1 }) },
      element("div", { class: "what" }, element("label", { class: "unseen", for: `step-name-${i}` }, w("name of the step")), name),
      element("button", { type: "button", "aria-label": w("Remove step {number}", { number: i + 1 }), onclick: () => { this.rows.splice(i, 1); this.tell(); } }, "✕"),
      element("div", { class: "fields" }, ...shown.map(([key, words, hint]) => stepper({ id: `step-${key}-${i}`, label: w(words), hint: hint && w(hint), value: row[key] || "", step: (d) => this.put(i, key, stepped(this.rows[i][key] || "", d, key)), typed: (v) => this.put(i, key, v) })),
        element("label", { class: "tick" }, cool, w("let cool, heat off"))));
  }
  add() { this.rows.push({ name: "", to: this.rows.at(-1)?.to || "100 °C", hold: "20 min" }); this.tell(); }
  put(i, key, value) { this.rows[i] = { ...this.rows[i], [key]: value }; this.tell(); }
  tell() { const rows = this.rows; this.show(rows); this.changed(withSteps(this.text(), rows)); }
}
