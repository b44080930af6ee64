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
export const at = (seconds) => new Date(Date.now() + seconds * 1000).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hour12: false });
// Temperatures inside sentences that the oven wrote in °C.
export const inUnit = (words) => (fahrenheit ? String(words).replace(/(-?\d+(?:\.\d+)?) °C/g, (_, n) => `${(Number(n) * 1.8 + 32).toFixed(n.includes(".") ? 1 : 0)} °F`) : String(words ?? ""));
