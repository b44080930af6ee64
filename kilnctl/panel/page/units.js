import { told } from "./words.js";

// Numbers and times for people. One choice of °C or °F, of 12 or 24 hours and of the decimal sign, kept in this browser.
const kept = (name, otherwise) => { try { return localStorage.getItem(name) || otherwise; } catch { return otherwise; } };
const keep = (name, value) => { try { localStorage.setItem(name, value); } catch { /* private windows */ } };
let fahrenheit = kept("unit", "C") === "F", twelve = kept("hours", "24") === "12", comma = kept("decimal", ".") === ",";

export const isF = () => fahrenheit;
export function setF(on) { fahrenheit = on; keep("unit", on ? "F" : "C"); }
export const isTwelve = () => twelve;
export function setTwelve(on) { twelve = on; keep("hours", on ? "12" : "24"); }
export const isComma = () => comma;
export function setComma(on) { comma = on; keep("decimal", on ? "," : "."); }

export const unit = () => (fahrenheit ? "°F" : "°C");
export const degrees = (c) => (fahrenheit ? c * 1.8 + 32 : c);
export const celsius = (shown) => (fahrenheit ? (shown - 32) / 1.8 : shown);
export const number = (v) => typeof v === "number" && Number.isFinite(v);
// A number with so many decimals, with the chosen decimal sign.
export const fixed = (value, decimals) => { const said = value.toFixed(decimals); return comma ? said.replace(".", ",") : said; };
export const temperature = (c, decimals = 0) => (number(c) ? `${fixed(degrees(c), decimals)} ${unit()}` : "–");
export const span = (k, decimals = 1) => (number(k) ? `${fixed(fahrenheit ? k * 1.8 : k, decimals)} ${fahrenheit ? "°F" : "K"}` : "–");
export const watts = (w, decimals = 2) => (Math.abs(w) >= 999.5 ? `${fixed(w / 1000, decimals)} kW` : `${w.toFixed(0)} W`);
export const kwh = (joule) => `${fixed(joule / 3.6e6, Math.abs(joule) < 3.6e7 ? 2 : 1)} kWh`;
// `price`: {amount for 1 kWh, currency, before}; null where none is given.
export const money = (joule, price) => (price ? (price.before ? `${price.currency}${fixed((joule / 3.6e6) * price.amount, 2)}` : `${fixed((joule / 3.6e6) * price.amount, 2)} ${price.currency}`.trim()) : "");

const two = (n) => String(n).padStart(2, "0");
export function clock(seconds) {
  const s = Math.max(0, Math.round(seconds));
  if (s >= 3600) return `${Math.floor(s / 3600)}:${two(Math.floor((s % 3600) / 60))} h`;
  return s >= 600 ? `${Math.round(s / 60)} min` : `${Math.floor(s / 60)}:${two(s % 60)} min`;
}
// A time of day from minutes after midnight.
export function hour(minutes) {
  const h = Math.floor(minutes / 60) % 24, m = Math.floor(minutes) % 60;
  return twelve ? `${h % 12 || 12}:${two(m)} ${h < 12 ? "am" : "pm"}` : `${two(h)}:${two(m)}`;
}
// Seconds since midnight of "HH:MM:SS".
export const seconds = (time) => time.split(":").map(Number).reduce((all, part) => 60 * all + part, 0);
// Time of day after this many seconds, by the oven's clock ("HH:MM:SS"): a phone's clock may differ.
export function at(after, ovens) {
  return hour((((Math.round((seconds(ovens) + after) / 60)) % 1440) + 1440) % 1440);
}
// Converts temperatures, differences and rates in the oven's sentences from °C and K.
const NUMBER = "(-?\\d+(?:\\.\\d+)?)", PAIR = new RegExp(`${NUMBER}( to | and | … |–|-)${NUMBER} °C`, "g"), ONE = new RegExp(`${NUMBER} °C`, "g"), STEP = new RegExp(`${NUMBER} K(?![\\w-])`, "g");
const figure = (n, value) => value.toFixed(n.includes(".") ? 1 : 0);
export function inUnit(words) {
  const plain = told(String(words ?? "").replaceAll("`", ""));
  if (!fahrenheit) return plain;
  const hot = (n) => figure(n, Number(n) * 1.8 + 32);
  return plain.replace(PAIR, (_, a, between, b) => `${hot(a)}${between}${hot(b)} °F`).replace(ONE, (_, n) => `${hot(n)} °F`).replace(STEP, (_, n) => `${figure(n, Number(n) * 1.8)} °F`);
}
