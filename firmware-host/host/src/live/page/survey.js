// A survey led from the page: where to stand, hold still, keep or repeat.

import { forget } from "./receiver.js";
import { element, field, fixed } from "./show.js";

const byId = (id) => document.getElementById(id);
let told = { others: [] };
let known = null;
let order = null;
let shown = "";

const button = (text, what, more = {}) => {
  const made = element("button", { type: "button", class: "big", ...more }, text);
  made.addEventListener("click", () => order(what(), byId("survey-open").hidden ? "begin-refused" : "step-refused"));
  return made;
};
// A second tap of the same finger must not meet the next step's button.
const REST_MS = 400;
let stepShown = "";

/** Hold new buttons back for a moment. */
function rest(key) {
  if (key === stepShown) return;
  stepShown = key;
  forget("step-refused");
  const buttons = [...byId("survey-step").querySelectorAll("button")];
  buttons.forEach((button) => (button.disabled = true));
  setTimeout(() => buttons.forEach((button) => (button.disabled = false)), REST_MS);
}

const seconds = () => Number(byId("point-seconds").value);

// So the program says that a capture holds more than the units it measured.
const UNEXPLAINED = /^(?:.*: )?(\d+ pulses? found that no transmitter's pulse train explains)$/;

/** What was said of the last point, what to do about it the larger and the nearer to the buttons. */
function remarks(said, kind) {
  const unexplained = (line) => line.match(UNEXPLAINED)?.[1];
  return [
    ...said.filter((line) => !unexplained(line)).map((line) => element("p", { class: kind }, line)),
    ...said.map(unexplained).filter(Boolean).map((found) => element("p", { class: "large open warning" }, `${found}. Record longer: a stronger unit may be there.`)),
  ];
}

/** What can be done now, and what there is to read before. */
function step(open) {
  const { step } = open;
  const recording = known.link?.recording;
  const parts = [];
  const add = (buttons) => known.mayAct && parts.push(element("div", { class: "buttons" }, ...buttons));
  if (recording?.of_s) {
    parts.push(element("p", { class: "large" }, "Hold still: recording"));
    const bar = element("progress", { max: recording.of_s, value: Math.min(recording.elapsed_s, recording.of_s), "aria-label": "Recording of the point" });
    parts.push(bar, element("p", {}, `${fixed(Math.min(recording.elapsed_s, recording.of_s), 0)} of ${fixed(recording.of_s, 0)} s`));
    add([button("Stop", () => ({ do: "stop_recording" }))]);
  } else if (step.is === "place") {
    parts.push(element("p", { class: "large" }, `Point ${step.number} of ${open.points.length}: ${step.place}`));
    step.how.forEach((line) => parts.push(element("p", {}, line)));
    parts.push(...remarks(open.said, "open"));
    const isUp = known.link?.is_up;
    if (!isUp) parts.push(element("p", { class: "large bad" }, "No receiver: wait until it is back."));
    add([
      ...(isUp ? [button("Record", () => ({ do: "take_point", seconds: seconds() }), { "data-step": "record" })] : []),
      button("Skip this point", () => ({ do: "press", step: "skip" })),
    ]);
  } else if (step.is === "decide") {
    step.judgement.forEach((line, i) => parts.push(element("p", i === 0 ? { class: "large" } : {}, line)));
    parts.push(...remarks(open.said, "note"));
    add([
      button("Keep", () => ({ do: "press", step: "keep" }), { "data-step": "keep" }),
      button("Take it again", () => ({ do: "press", step: "repeat" })),
      button("Drop", () => ({ do: "press", step: "drop" })),
    ]);
  } else {
    parts.push(element("p", { class: "large" }, "Every point is done or left."));
  }
  return parts;
}

function points(open) {
  const head = element("thead", { role: "rowgroup" }, element("tr", { role: "row" }, ...["Point", "Place", "Field", "Beside the others", ...(known.mayAct ? ["Again"] : [])].map((text) => element("th", { scope: "col", role: "columnheader" }, text))));
  const rows = open.points.map((point) => {
    const cell = (label, content) => element("td", { "data-label": label, role: "cell" }, content);
    const what = point.field ? field(point.field.value, point.field.u) : point.state;
    const cells = [element("th", { scope: "row", role: "rowheader" }, `${point.number}`), cell("Place", point.place), cell("Field", what), cell("Beside the others", point.beside ?? "")];
    if (known.mayAct) {
      const again = button("Again", () => ({ do: "press", step: "again", point: point.number }), { class: "", "aria-label": `Take point ${point.number} again` });
      again.disabled = point.state === "due" || open.step.is === "decide" || Boolean(known.link?.recording);
      cells.push(cell("Again", again));
    }
    return element("tr", { role: "row" }, ...cells);
  });
  return element("table", { role: "table", "aria-labelledby": "points-title" }, head, element("tbody", { role: "rowgroup" }, ...rows));
}

export function showSurvey(all) {
  known = all;
  const { open, others = [] } = told;
  byId("survey-open").hidden = !open;
  byId("survey-none").hidden = Boolean(open);
  byId("survey-begin").hidden = !known.mayAct || !known.about?.can_record;
  byId("survey-leave").hidden = !known.mayAct;
  byId("point-length").hidden = !known.mayAct;
  if (!open) {
    shown = stepShown = "";
    byId("survey-words").textContent = !known.about?.can_record
      ? "Surveys need a receiver, a calibration and a folder: start the page with --port, --calibration and --out."
      : known.mayAct ? "No survey is open." : "No survey is open. The operator begins one.";
    byId("survey-others").replaceChildren(...(known.mayAct ? others : []).map((name) => button(`Go on with ${name}`, () => ({ do: "open_survey", name }))));
    return;
  }
  forget("begin-refused");
  byId("survey-title").textContent = `Survey ${open.name}, over ${open.kind}`;
  // Buttons must not be taken from under a finger: made anew only when something changed.
  const now = JSON.stringify([open, known.link?.recording, known.link?.is_up, known.mayAct, document.getElementById("field-unit").value]);
  if (now === shown) return;
  shown = now;
  const had = byId("survey-step").contains(document.activeElement);
  byId("survey-step").replaceChildren(...step(open));
  // Who listens to the page is told of steps, not of every second.
  byId("survey-step").setAttribute("aria-busy", String(Boolean(known.link?.recording)));
  if (had) byId("survey-title").focus();
  rest(JSON.stringify([open.step.is, open.step.number, open.step.reading, Boolean(known.link?.recording), known.link?.is_up]));
  byId("survey-points").replaceChildren(points(open));
  byId("survey-results").textContent = open.results;
  const picture = byId("survey-picture");
  picture.hidden = open.picture === 0;
  if (open.picture && picture.dataset.number !== String(open.picture)) {
    picture.dataset.number = open.picture;
    picture.src = `/survey?picture=${open.picture}`;
    picture.alt = `Readings of the survey over ${open.kind} beside theory; the numbers are in the table`;
  }
}

export function takeSurvey(message, all) {
  told = message;
  showSurvey(all);
}

function plan() {
  const value = (id) => byId(id).value;
  const kind = value("plan-kind");
  if (kind === "distance") return { kind, distances: value("plan-distances"), alignment: value("plan-alignment") };
  if (kind === "angle") return { kind, step_deg: Number(value("plan-step")), turned: value("plan-turned") };
  const pair = (id) => [Number(value(`${id}-x`)), Number(value(`${id}-y`))];
  return { kind, size_m: pair("plan-size"), spacing_m: pair("plan-spacing"), height_m: Number(value("plan-height")) };
}

export function leadSurveys(give) {
  order = give;
  const kind = byId("plan-kind");
  const choose = () => document.querySelectorAll("[data-plan]").forEach((part) => {
    part.hidden = part.dataset.plan !== kind.value;
  });
  kind.addEventListener("change", choose);
  choose();
  byId("survey-begin").addEventListener("submit", (event) => {
    event.preventDefault();
    give({ do: "begin_survey", name: byId("plan-name").value.trim(), plan: plan() }, "begin-refused");
  });
  byId("survey-begin").addEventListener("input", () => forget("begin-refused"));
  byId("point-seconds").addEventListener("input", () => forget("step-refused"));
  byId("survey-leave").addEventListener("click", () => give({ do: "leave_survey" }, "step-refused"));
  byId("survey-larger").addEventListener("click", (event) => {
    const isLarge = byId("survey-frame").classList.toggle("large-picture");
    event.currentTarget.setAttribute("aria-pressed", String(isLarge));
  });
}
