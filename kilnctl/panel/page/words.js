// The words of the page: `w` gives them in the chosen language. Their key is what they are in English, so a word that a
// table lacks is said in English. The oven's own sentences come from its service, in English.
export const LANGUAGES = { en: "English", de: "Deutsch" };
let language = "en", table = {};
try { language = localStorage.getItem("language") || "en"; } catch { /* private windows */ }

export const spoken = () => language;
export async function speak(wanted) {
  language = wanted in LANGUAGES ? wanted : "en";
  try { localStorage.setItem("language", language); } catch { /* private windows */ }
  // English needs no table: only another language is fetched.
  table = language === "en" ? {} : await import(`/page/words_${language}.js`).then((m) => m.WORDS, () => ({}));
  document.documentElement.lang = language;
  fill(document);
}
// `w("done at {at}", {at: "14:05"})`.
export function w(words, values = {}) {
  return (table[words] ?? words).replace(/\{(\w+)\}/g, (whole, name) => values[name] ?? whole);
}
// The text of an element that carries `data-w`, and its label where it carries `data-label`.
export function fill(root) {
  for (const one of root.querySelectorAll("[data-w]")) one.textContent = w(one.dataset.w);
  for (const one of root.querySelectorAll("[data-label]")) one.setAttribute("aria-label", w(one.dataset.label));
}
