// Numbers and times for people. One choice of °C or °F for everything, kept in this browser.
let fahrenheit = false;
try { fahrenheit = localStorage.getItem("unit") === "F"; } catch { /* private windows */ }

export const isF = () => fahrenheit;
export function setF(on) {
  fahrenheit = on;
  try { localStorage.setItem("unit", on ? "F" : "C"); } catch { /* private windows */ }
}
export const unit = () => (fahrenheit ? "°F" : "°C");
export const degrees = (c) => (fahrenheit ? c * 1.8 + 32 : c);
export const number = (v) => typeof v === "number" && Number.isFinite(v);
export const temperature = (c, decimals = 0) => (number(c) ? `${degrees(c).toFixed(decimals)} ${unit()}` : "–");
export const span = (k, decimals = 1) => (number(k) ? `${(fahrenheit ? k * 1.8 : k).toFixed(decimals)} ${fahrenheit ? "°F" : "K"}` : "–");
export const watts = (w) => (Math.abs(w) >= 999.5 ? `${(w / 1000).toFixed(2)} kW` : `${w.toFixed(0)} W`);

export function clock(seconds) {
  const s = Math.max(0, Math.round(seconds));
  const two = (n) => String(n).padStart(2, "0");
  return s >= 3600 ? `${Math.floor(s / 3600)}:${two(Math.floor((s % 3600) / 60))} h` : s >= 600 ? `${Math.round(s / 60)} min` : `${Math.floor(s / 60)}:${two(s % 60)} min`;
}
// Time of day after this many seconds, by the oven's clock ("HH:MM:SS"): a phone's clock may differ.
export function at(seconds, ovens) {
  const [h, m, s] = ovens.split(":").map(Number), minutes = Math.round((3600 * h + 60 * m + s + seconds) / 60) % 1440;
  return `${String(Math.floor(minutes / 60)).padStart(2, "0")}:${String(minutes % 60).padStart(2, "0")}`;
}
// Converts temperatures, differences and rates in the oven's sentences from °C and K.
const NUMBER = "(-?\\d+(?:\\.\\d+)?)", PAIR = new RegExp(`${NUMBER}( to | and | … |–|-)${NUMBER} °C`, "g"), ONE = new RegExp(`${NUMBER} °C`, "g"), STEP = new RegExp(`${NUMBER} K(?![\\w-])`, "g");
const figure = (n, value) => value.toFixed(n.includes(".") ? 1 : 0);
export function inUnit(words) {
  const plain = String(words ?? "").replaceAll("`", "");
  if (!fahrenheit) return plain;
  const hot = (n) => figure(n, Number(n) * 1.8 + 32);
  return plain.replace(PAIR, (_, a, between, b) => `${hot(a)}${between}${hot(b)} °F`).replace(ONE, (_, n) => `${hot(n)} °F`).replace(STEP, (_, n) => `${figure(n, Number(n) * 1.8)} °F`);
}
