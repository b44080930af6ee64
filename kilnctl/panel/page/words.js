// The words of the page: `w` gives them in the chosen language. Their key is what they are in English, so a word that a
// table lacks is said in English. The oven's own sentences come from its service in English; `told` gives them in the
// chosen language, as far as its list goes.
export const LANGUAGES = { en: "English", de: "Deutsch" };
let language = "en", table = {}, sentences = [];
const heard = new Map();
try { language = localStorage.getItem("language") || "en"; } catch { /* private windows */ }

export const spoken = () => language;
export async function speak(wanted) {
  language = wanted in LANGUAGES ? wanted : "en";
  try { localStorage.setItem("language", language); } catch { /* private windows */ }
  // English needs no table: only another language is fetched.
  table = language === "en" ? {} : await import(`/page/words_${language}.js`).then((m) => m.WORDS, () => ({}));
  sentences = language === "en" ? [] : await import(`/page/told_${language}.js`).then((m) => m.TOLD.map(pattern), () => []);
  heard.clear();
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
// A sentence of the list with what changes in it: {a}, {b} …
function pattern([english, other]) {
  const plain = english.replace(/[.*+?^$()|[\]\\]/g, "\\$&").replace(/\{(\w)\}/g, "(?<$1>.+?)");
  return [new RegExp(`^${plain}$`, "i"), other];
}
function sentence(words) {
  for (const [form, other] of sentences) {
    const found = form.exec(words);
    if (found) return other.replace(/\{(\w)\}/g, (_, name) => told(found.groups[name]));
  }
  return null;
}
// What the service says, in the chosen language: whole, else by its parts; what the list lacks stays as it is.
export function told(words) {
  if (!sentences.length || !words) return words;
  if (!heard.has(words)) {
    if (heard.size > 500) heard.clear();
    heard.set(words, sentence(words) ?? sentence(words.replace(/[.]$/, "")) ?? (/; |[.] /.test(words) ? words.split(/(; |(?<=[.]) )/).map((part) => sentence(part) ?? sentence(part.replace(/[.]$/, "")) ?? part).join("") : words));
  }
  return heard.get(words);
}
