// The words of the page, one table per language; `w` gives them in the chosen one. A word that a table lacks is said in
// English. The oven's own sentences come from its service, in English.
import { EN } from "./words_en.js";
import { DE } from "./words_de.js";

const TABLES = { en: EN, de: DE };
let language = "en";
try { language = localStorage.getItem("language") || "en"; } catch { /* private windows */ }

export const languages = Object.keys(TABLES);
export const spoken = () => language;
export function speak(wanted) {
  language = wanted in TABLES ? wanted : "en";
  try { localStorage.setItem("language", language); } catch { /* private windows */ }
  document.documentElement.lang = language;
  fill(document);
}
// `w("done at {at}", {at: "14:05"})`.
export function w(words, values = {}) {
  const said = TABLES[language]?.[words] ?? EN[words] ?? words;
  return said.replace(/\{(\w+)\}/g, (whole, name) => values[name] ?? whole);
}
// The text of an element that carries `data-w`, and its label where it carries `data-label`.
export function fill(root) {
  for (const one of root.querySelectorAll("[data-w]")) one.textContent = w(one.dataset.w);
  for (const one of root.querySelectorAll("[data-label]")) one.setAttribute("aria-label", w(one.dataset.label));
}
