// The table of the units heard.

import { ago, colourOf, element, field, fixed, reading } from "./show.js";

const QUANTITIES = { carrier: "carrier", "on-time": "time on", "off-time": "time off", period: "period", field: "field", "residual-carrier": "residual carrier" };
const fieldTitle = (age_s) => (age_s === null ? "Field now" : "Last field");
const columns = (age_s) => ["Unit", "Carrier", "Period", "On", fieldTitle(age_s), "Residual carrier", "Pulses", "Limits"];
const SILENT_S = 4;

const milliseconds = ({ value, u }) => reading({ value: value * 1e3, u: u * 1e3 }, "ms");
const ratio = ({ value, u }) => (u === null || u >= 1 ? "–" : reading({ value: value * 100, u: u * 100 }, "%"));

const VERDICTS = [
  ["does not conform", "outside", "bad", "✗"],
  ["undecided", "undecided", "open", "?"],
  [undefined, "not judged", "open", "?"],
  ["conforms", "within", "good", "✓"],
];

/** The quantities that have limits, by what is to be said of them, the worst first. */
function limits(unit) {
  const judged = unit.limits.filter((limit) => limit.quantity !== "field");
  const list = element("ul");
  for (const [decision, word, kind, mark] of VERDICTS) {
    const known = (limit) => VERDICTS.some(([other]) => other === limit.decision);
    const those = judged.filter((limit) => (known(limit) ? limit.decision : undefined) === decision);
    if (those.length === 0) continue;
    const names = those.map((limit) => QUANTITIES[limit.quantity]).join(", ");
    const item = element("li", { class: kind }, `${mark} ${word}: ${names}`);
    item.title = those.map((limit) => limit.why_not).filter(Boolean).join("; ");
    list.append(item);
  }
  return list;
}

function cell(label, ...content) {
  return element("td", { "data-label": label, role: "cell" }, ...content);
}

/** A value that stays on one line with its uncertainty and unit. */
const whole = (text) => element("span", { class: "whole" }, text);

function row(unit, isChosen, choose, age_s) {
  const silent = unit.silent_s > SILENT_S;
  const swatch = element("span", { class: "swatch", "aria-hidden": "true" });
  swatch.style.background = colourOf(unit.name);
  const button = element("button", { type: "button", class: "unit-button", "aria-pressed": String(isChosen), "aria-label": `Unit ${unit.name}: show its field vector`, "data-unit": unit.name }, swatch, unit.name);
  button.addEventListener("click", () => choose(unit.name));
  const now = unit.field_a_per_m ?? unit.amplitude_counts;
  const how = age_s !== null ? `, ${ago(age_s)}` : silent ? `, silent for ${fixed(unit.silent_s, 0)} s` : "";
  const overlapped = unit.pulses.overlapped ? `, ${unit.pulses.overlapped} overlapped` : "";
  const made = element("tr", { role: "row" },
    element("th", { scope: "row", role: "rowheader" }, button),
    cell("Carrier", whole(reading(unit.carrier_hz, "Hz"))),
    cell("Period", whole(milliseconds(unit.period_s))),
    cell("On", whole(milliseconds(unit.on_time_s))),
    cell(fieldTitle(age_s), whole(field(now.value, now.u)), how),
    cell("Residual carrier", whole(ratio(unit.residual_carrier_ratio))),
    cell("Pulses", whole(`${unit.pulses.found} of ${unit.pulses.expected}`), overlapped),
    cell("Limits", limits(unit)));
  made.className = `unit${silent ? " silent" : ""}`;
  if (unit.notes.length === 0) return [made];
  made.classList.add("noted");
  const notes = element("td", { colspan: String(columns(age_s).length), role: "cell", class: "note" }, `${unit.name}: ${unit.notes.join("; ")}`);
  return [made, element("tr", { role: "row", class: "notes" }, notes)];
}

export function showUnits(known, choose) {
  const place = document.getElementById("units");
  const { units } = known.state;
  const { age_s } = known;
  place.className = age_s === null ? "" : "old";
  if (units.length === 0) {
    place.replaceChildren(element("p", {}, "none yet: a unit shows after four pulses"));
    return;
  }
  const had = place.contains(document.activeElement) ? document.activeElement.dataset.unit : null;
  const head = element("thead", { role: "rowgroup" }, element("tr", { role: "row" }, ...columns(age_s).map((text) => element("th", { scope: "col", role: "columnheader" }, text))));
  const body = element("tbody", { role: "rowgroup" }, ...units.flatMap((unit) => row(unit, unit.name === known.chosen, choose, age_s)));
  place.replaceChildren(element("table", { role: "table", "aria-labelledby": "units-title" }, head, body));
  if (had) place.querySelector(`[data-unit="${had}"]`)?.focus();
}
