// The pulses of each unit on a time line, and where they overlap.

import { canvas, colour, colourOf, roughField } from "./show.js";

const SPAN_S = 12;
const LEFT = 44;
const BOTTOM = 22;
const NEW = "?";
const MOST_FRESH = 50;

export class Timeline {
  constructor() {
    this.pulses = [];
    this.trains = new Map();
    this.names = [];
    this.now_s = 0;
    this.fresh = [];
  }

  setUnits(names, trains) {
    this.names = names;
    this.trains = trains;
  }

  add(heard) {
    const { to_s, at_ms, pulses = [], assigned = [] } = heard;
    this.now_s = to_s;
    for (const pulse of pulses) {
      this.pulses.push({ ...pulse, train: null });
      // When it ended by the clock of the computer that measures.
      this.fresh.push(at_ms - (to_s - pulse.off_s) * 1000);
    }
    // Nobody draws while another view is shown.
    this.fresh = this.fresh.slice(-MOST_FRESH);
    for (const [id, train] of assigned) {
      const pulse = this.pulses.findLast((pulse) => pulse.id === id);
      if (pulse) pulse.train = train;
    }
    this.pulses = this.pulses.filter((pulse) => pulse.off_s > to_s - SPAN_S);
  }

  draw() {
    const element = document.getElementById("timeline");
    const { context, width, height } = canvas(element);
    const lanes = [...this.names];
    const laneOf = (pulse) => this.trains.get(pulse.train) ?? NEW;
    if (this.pulses.some((pulse) => laneOf(pulse) === NEW) || lanes.length === 0) lanes.push(NEW);
    const [w, h] = [width - LEFT - 8, height - BOTTOM];
    const lane = h / lanes.length;
    const x = (s) => LEFT + (1 - (this.now_s - s) / SPAN_S) * w;
    context.save();
    context.beginPath();
    context.rect(LEFT, 0, w, h);
    context.clip();
    this.drawOverlaps(context, x, h);
    for (const pulse of this.pulses) {
      const name = laneOf(pulse);
      const top = lanes.indexOf(name) * lane;
      const [from, to] = [x(pulse.on_s), x(pulse.off_s)];
      const inset = Math.min(lane * 0.2, 10);
      context.fillStyle = name === NEW ? colour("soft") : colourOf(name);
      context.fillRect(from, top + inset, Math.max(2, to - from), lane - 2 * inset);
    }
    context.restore();
    context.strokeStyle = colour("grid");
    context.fillStyle = colour("ink");
    context.textBaseline = "middle";
    lanes.forEach((name, i) => {
      context.textAlign = "right";
      context.font = "bold 14px system-ui, sans-serif";
      context.fillStyle = name === NEW ? colour("soft") : colourOf(name);
      context.fillText(name, LEFT - 8, (i + 0.5) * lane);
      context.beginPath();
      context.moveTo(LEFT, (i + 1) * lane);
      context.lineTo(LEFT + w, (i + 1) * lane);
      context.stroke();
    });
    context.font = "12px system-ui, sans-serif";
    context.fillStyle = colour("ink");
    context.textBaseline = "top";
    for (let s = 0; s <= SPAN_S; s += width < 500 ? 4 : 2) {
      context.textAlign = s === 0 ? "right" : "center";
      if (s === SPAN_S) context.textAlign = "left";
      context.fillText(s === 0 ? "now" : `−${s} s`, x(this.now_s - s), h + 5);
    }
    this.describe(element);
    this.tellDrawn();
  }

  drawOverlaps(context, x, h) {
    const sorted = [...this.pulses].sort((a, b) => a.on_s - b.on_s);
    context.strokeStyle = colour("bad");
    context.lineWidth = 1;
    let until = -Infinity;
    for (const pulse of sorted) {
      const to = Math.min(until, pulse.off_s);
      if (to > pulse.on_s) this.stripe(context, x(pulse.on_s), x(to), h);
      until = Math.max(until, pulse.off_s);
    }
  }

  stripe(context, from, to, h) {
    context.save();
    context.beginPath();
    context.rect(from, 0, Math.max(3, to - from), h);
    context.clip();
    context.beginPath();
    for (let y = -8; y < h + (to - from); y += 6) {
      context.moveTo(from, y + (to - from));
      context.lineTo(to + 3, y - 3);
    }
    context.stroke();
    context.restore();
  }

  describe(element) {
    const count = (name) => this.pulses.filter((pulse) => (this.trains.get(pulse.train) ?? NEW) === name).length;
    const words = this.names.map((name) => `${name} ${count(name)}`);
    const overlapped = this.pulses.filter((pulse) => pulse.overlapped).length;
    const last = this.pulses[this.pulses.length - 1];
    element.setAttribute("aria-label", `Pulses of the last ${SPAN_S} seconds: ${words.join(", ") || "none told apart yet"}; ${overlapped} overlapped${last ? "; the newest " + roughField(last.field) : ""}`);
  }

  // For whoever wants to know how late a pulse is on the screen.
  tellDrawn() {
    const now = Date.now();
    for (const ended of this.fresh) dispatchEvent(new CustomEvent("pulse-drawn", { detail: now - ended }));
    this.fresh = [];
  }
}
