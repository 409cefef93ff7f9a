// The live page: takes what the program tells and hands it to the parts that show it.

import { aboutField, setFieldUnit } from "./show.js";
import { Waterfall } from "./waterfall.js";
import { Timeline } from "./timeline.js";
import { showUnits } from "./units.js";
import { showVector } from "./vector.js";
import { Lesson } from "./lesson.js";
import { order, showLink, showReceiver, showSaid, takeOrders } from "./receiver.js";
import { leadSurveys, showSurvey, takeSurvey } from "./survey.js";

const byId = (id) => document.getElementById(id);
const calm = matchMedia("(prefers-reduced-motion: reduce)");
// With reduced motion pictures move on once a second.
const CALM_MS = 1000;
// What comes so soon after the stream began may be of long before.
const CAUGHT_UP_MS = 2000;

// age_s: of what was measured last, null while it is of now. survey: what the survey says.
const known = { about: null, state: null, link: null, chosen: null, mayAct: false, isAway: false, age_s: null, survey: [] };
// By the clock of the computer that measures, and by how much ours is ahead of it.
const clock = { heard_ms: null, ahead_ms: 0, began_ms: 0 };
let waterfall, timeline;
const lesson = new Lesson();

function begin(about) {
  known.about = about;
  known.state = null;
  aboutField(about.unit);
  byId("source").textContent = about.source;
  byId("field-unit").disabled = about.unit !== "A/m";
  const limits = about.limits;
  byId("limits-note").textContent =
    `Limits: ${limits.title}${limits.from_memory ? " (quoted from memory)" : ""}` +
    `${limits.note ? "; " + limits.note : ""}. Carrier, times and residual carrier since the page ` +
    "was started; the field's limits need a known distance: coilrig verify. Nothing here certifies a unit.";
  waterfall?.end();
  waterfall = new Waterfall(about.band);
  timeline = new Timeline();
  showReceiver(known);
  showSurvey(known);
}

function trainsToUnits() {
  const units = new Map();
  known.state?.units.forEach((unit) => unit.trains.forEach((train) => units.set(train, unit.name)));
  return units;
}

/** How old what is shown is, once no more comes from a receiver. */
function tellAge() {
  const isStale = known.isAway || known.link?.is_up === false;
  const before = known.age_s;
  known.age_s = isStale && clock.heard_ms !== null ? Math.max(0, (Date.now() - clock.ahead_ms - clock.heard_ms) / 1000) : null;
  if (before === null && known.age_s === null) return;
  showReceiver(known);
  showChosen();
}

function takeState(state) {
  known.state = state;
  const names = state.units.map((unit) => unit.name);
  if (!names.includes(known.chosen)) known.chosen = names[0] ?? null;
  timeline?.setUnits(names, trainsToUnits());
  showReceiver(known);
  showChosen();
}

function showChosen() {
  if (!known.state || !known.about) return;
  showUnits(known, choose);
  showVector(known.state.units.find((unit) => unit.name === known.chosen), known);
}

function choose(name) {
  known.chosen = name;
  showChosen();
}

function takeHeard(heard) {
  clock.heard_ms = heard.at_ms;
  if (performance.now() - clock.began_ms > CAUGHT_UP_MS) clock.ahead_ms = Date.now() - heard.at_ms;
  if (!waterfall) return;
  heard.rows?.forEach((row) => waterfall.add(row));
  timeline.add(heard);
  redraw();
}

let isDue = false;
let drawnAt = 0;
function redraw() {
  if (isDue || document.hidden) return;
  isDue = true;
  const wait = calm.matches ? Math.max(0, drawnAt + CALM_MS - performance.now()) : 0;
  setTimeout(() => requestAnimationFrame(() => {
    isDue = false;
    drawnAt = performance.now();
    if (byId("view-watch").hidden) return;
    waterfall.draw();
    timeline.draw();
  }), wait);
}

function listen() {
  const stream = new EventSource("/stream");
  const on = (name, take) => stream.addEventListener(name, (event) => take(JSON.parse(event.data)));
  on("you", (you) => {
    known.isAway = false;
    clock.began_ms = performance.now();
    showSaid(known);
    known.mayAct = you.may_act;
    showReceiver(known);
    showSurvey(known);
  });
  on("about", begin);
  on("link", (link) => {
    known.link = link;
    showLink(known);
    showSurvey(known);
    tellAge();
  });
  on("survey", (message) => {
    known.survey = message.open?.said ?? [];
    takeSurvey(message, known);
    showSaid(known);
  });
  on("state", takeState);
  on("heard", takeHeard);
  stream.onerror = () => {
    known.link = null;
    known.isAway = true;
    showLink(known);
    showSurvey(known);
    tellAge();
    // The browser comes back by itself unless it was refused.
    if (stream.readyState === EventSource.CLOSED) setTimeout(listen, 2000);
  };
}

function show(view) {
  document.body.dataset.view = view;
  document.querySelectorAll("nav button").forEach((button) => {
    button.setAttribute("aria-pressed", String(button.dataset.view === view));
  });
  document.querySelectorAll("main > div").forEach((part) => {
    part.hidden = part.id !== `view-${view}`;
  });
  if (view === "class") lesson.show();
  else redraw();
  showSaid(known);
}

document.querySelectorAll("nav button").forEach((button) => {
  button.addEventListener("click", () => show(button.dataset.view));
});
byId("field-unit").value = setFieldUnit(localStorage.getItem("field-unit"));
byId("field-unit").addEventListener("change", (event) => {
  localStorage.setItem("field-unit", setFieldUnit(event.target.value));
  showChosen();
  showReceiver(known);
  showSurvey(known);
  redraw();
});
addEventListener("resize", () => {
  redraw();
  lesson.draw();
});
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
  waterfall?.restyle();
  redraw();
  lesson.restyle();
  showChosen();
});
takeOrders();
leadSurveys(order);
setInterval(tellAge, 1000);
listen();
