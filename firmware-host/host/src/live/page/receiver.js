// Link, level, noise, calibration, the operator's recording, and orders.

import { fixed, past, reading, unitOfFields } from "./show.js";

const byId = (id) => document.getElementById(id);
const AXES = ["x", "y", "z"];
// Until then the noise is a guess.
const SETTLED_S = 4;
// Within so much of full scale a little more clips.
const NEAR_DBFS = -3;

function put(id, text, kind = "") {
  const place = byId(id);
  // Readers of the screen are told of changes only.
  if (place.textContent !== text) place.textContent = text;
  place.className = kind;
}

function noise(densities) {
  if (!densities) return "not calibrated";
  // A level of a density is no field; nA/m is what people know noise in.
  const factor = unitOfFields() === "µA/m" ? 1e6 : 1e9;
  const name = factor === 1e6 ? "µA/m" : "nA/m";
  return `${densities.map((n) => reading({ value: Number((n * factor).toPrecision(2)), u: 0 }, "").trim()).join(" / ")} ${name} per √Hz`;
}

export function showReceiver(known) {
  const { about, state } = known;
  offerRecording(known);
  if (about) {
    const doubts = about.concerns.length > 0 || about.unit !== "A/m";
    put("calibration", [about.calibration, ...about.concerns].join("; "), doubts ? "open" : "");
  }
  if (!state) return;
  const levels = state.level_dbfs;
  const names = levels.length === 1 ? [""] : AXES;
  const text = levels.map((db, i) => `${names[i]} ${db === null ? "–" : fixed(db, 0)}`.trim()).join("  ");
  const near = levels.some((db) => db !== null && db > NEAR_DBFS);
  const age = known.age_s;
  const kind = near || known.link?.overload ? "bad" : "";
  put("level", past(`${text} dBFS${known.link?.overload ? " OVERLOAD" : ""}`, age), age === null ? kind : "old");
  put("noise", past(state.at_s < SETTLED_S ? "listening" : noise(state.noise_a_per_m_rthz), age), age === null ? "" : "old");
  if (!known.link && !known.isAway) {
    if (state.broken_off) put("link", "the capture cannot be played on", "bad");
    else put("link", state.is_over ? "the capture is over" : "playing a capture", state.is_over ? "open" : "good");
    if (state.broken_off) put("said", state.broken_off);
    put("lost", `${state.gaps} ${state.gaps === 1 ? "gap" : "gaps"}`);
  }
}

/** A recording can be begun while samples come, and ended whenever one is on. */
function offerRecording({ about, link, mayAct, isAway }) {
  const isOf = link?.is_up || link?.recording;
  byId("record").hidden = !(mayAct && about?.can_record && isOf) || isAway;
}

const said = { now: null, isOfPoint: false, wasPoint: false };

/** What happened last. What is said of a point is read where the survey is. */
export function showSaid({ link, isAway, survey }) {
  const point = Boolean(link?.recording?.of_s);
  if (link && said.now !== link.said) {
    said.isOfPoint = point || said.wasPoint;
    said.now = link.said;
  }
  said.isOfPoint ||= survey.includes(said.now);
  if (link) said.wasPoint = point;
  const isShown = !said.isOfPoint || (point && document.body.dataset.view === "survey") || !link?.is_up;
  put("said", isAway ? "the program does not answer; if it was started anew, open its new link" : link && isShown ? link.said : "");
}

export function showLink(known) {
  const { link, isAway } = known;
  offerRecording(known);
  showSaid(known);
  if (isAway) put("link", "no answer", "bad");
  if (isAway || !link) return;
  put("link", link.is_up ? "receiver streams" : "receiver lost", link.is_up ? "good" : "bad");
  put("lost", String(link.samples_lost), link.samples_lost ? "open" : "");
  const on = link.recording;
  put("recording", on ? `on: ${on.name}, ${fixed(on.elapsed_s, 0)} s` : "off", on ? "bad" : "");
  byId("record-button").textContent = on ? "Stop recording" : "Start recording";
  byId("record-button").classList.toggle("on", Boolean(on));
  byId("record-unit").disabled = Boolean(on);
  byId("record").dataset.on = on ? "yes" : "";
}

/** Take back what was refused, where it no longer fits. */
export function forget(id) {
  byId(id).textContent = "";
}

/** Give an order; a refusal stays at `place`, beside what was pressed, until the next one. */
export async function order(what, place) {
  document.querySelectorAll(".refused").forEach((refused) => forget(refused.id));
  const why = await refusal(what).catch(() => "the program does not answer");
  if (why) byId(place).textContent = why;
}

async function refusal(what) {
  const answer = await fetch("/orders", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(what) });
  return answer.ok ? "" : `Refused: ${(await answer.text()).trim()}`;
}

export function takeOrders() {
  byId("record").addEventListener("submit", (event) => {
    event.preventDefault();
    const unit = byId("record-unit").value.trim();
    const what = byId("record").dataset.on ? { do: "stop_recording" } : { do: "record", ...(unit ? { unit } : {}) };
    order(what, "record-refused");
  });
  byId("record").addEventListener("input", () => forget("record-refused"));
}
