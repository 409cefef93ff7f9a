// Numbers, colours and canvases, the same for all parts of the page.

const UNITS = { "nA/m": 1e9, "µA/m": 1e6, "dBµA/m": null };
// Apart from each other for most kinds of colour vision, and dark or light enough for
// either background; letters tell units apart as well.
const LIGHT = ["#0b5fa5", "#b34700", "#006b4f", "#8a2a8a", "#5b5b00", "#a3003c", "#3d4f5c", "#6a3d00"];
const DARK = ["#6cc3ff", "#ffab6b", "#5fe0b5", "#e79be7", "#dede6b", "#ff8fb0", "#c3d2dc", "#e0b080"];

let fieldUnit = "nA/m";
let isCalibrated = true;

export const isDark = () => matchMedia("(prefers-color-scheme: dark)").matches;
export const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();

/** The colour of the unit of that name: A, B, … */
export function colourOf(name) {
  const colours = isDark() ? DARK : LIGHT;
  return colours[(name.charCodeAt(name.length - 1) - 65 + 26 * (name.length - 1)) % colours.length];
}

export function aboutField(unit) {
  isCalibrated = unit === "A/m";
}

/** Take this unit for fields if there is one of the name; gives the one that counts. */
export function setFieldUnit(unit) {
  if (unit in UNITS) fieldUnit = unit;
  return fieldUnit;
}

export const unitOfFields = () => (isCalibrated ? fieldUnit : "counts");
const number = (text) => text.replace("-", "−");

/** Labels of an axis with a true minus. */
export const axisLabels = (_, values) => values.map((value) => number(String(value)));

/** A number with a fixed count of places. */
export const fixed = (value, places) => number(value.toFixed(places));

/** value ± u, u with two digits (JCGM 100, 7.2.6). */
export function reading({ value, u }, unit) {
  if (value === null || !Number.isFinite(value)) return "–";
  if (!(u > 0) || !Number.isFinite(u)) return `${number(String(Number(value.toPrecision(6))))} ${unit}`;
  const places = Math.min(9, 1 - Math.floor(Math.log10(Number(u.toPrecision(2)))));
  if (places >= 0) return `${fixed(value, places)} ± ${fixed(u, places)} ${unit}`;
  const step = 10 ** -places;
  return `${fixed(Math.round(value / step) * step, 0)} ± ${fixed(Math.round(u / step) * step, 0)} ${unit}`;
}

/** A field in the unit picked; u is left out where it is not known. */
export function field(value, u) {
  if (!isCalibrated) return reading({ value, u }, "counts");
  if (fieldUnit !== "dBµA/m") return reading({ value: value * UNITS[fieldUnit], u: u * UNITS[fieldUnit] }, fieldUnit);
  const db = 20 * Math.log10(Math.abs(value) * 1e6);
  return reading({ value: Number(db.toFixed(2)), u: (20 / Math.LN10) * (u / Math.abs(value)) }, fieldUnit);
}

/** A field with three digits and no more. */
export function roughField(value) {
  if (!isCalibrated) return `${number(String(Number(value.toPrecision(3))))} counts`;
  if (fieldUnit === "dBµA/m") return `${fixed(20 * Math.log10(Math.abs(value) * 1e6), 1)} dBµA/m`;
  return `${number(String(Number((value * UNITS[fieldUnit]).toPrecision(3))))} ${fieldUnit}`;
}

/** A level over 1 A/m, or over 1 count, dB, in the unit picked. */
export const roughLevel = (db) => roughField(10 ** (db / 20));

/** What to add to a level to have it over 1 µA/m; nothing for counts. */
export const overMicroampere = () => (isCalibrated ? 120 : 0);
export const levelUnit = () => (isCalibrated ? "dBµA/m" : "dB over 1 count");

/** A value that is so many seconds old; null for one of now. */
export const past = (text, age_s) => (age_s === null ? text : `${text}, ${ago(age_s)}`);

export function ago(age_s) {
  if (age_s < 120) return `${fixed(age_s, 0)} s ago`;
  return age_s < 7200 ? `${fixed(age_s / 60, 0)} min ago` : `${fixed(age_s / 3600, 0)} h ago`;
}

/** A canvas that is as sharp as the screen, and its size in CSS pixels. */
export function canvas(element) {
  const { width, height } = element.getBoundingClientRect();
  const ratio = Math.min(devicePixelRatio || 1, 2);
  const [w, h] = [Math.round(width * ratio), Math.round(height * ratio)];
  if (element.width !== w || element.height !== h) {
    element.width = w;
    element.height = h;
  }
  const context = element.getContext("2d");
  context.setTransform(ratio, 0, 0, ratio, 0, 0);
  context.clearRect(0, 0, width, height);
  context.font = "12px system-ui, sans-serif";
  return { context, width, height };
}

/** An element with attributes and children. */
export function element(name, attributes = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...children);
  return made;
}
