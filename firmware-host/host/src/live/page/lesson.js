// The class view: field lines of a computed unit in section and plan.

import { axisLabels, canvas, colour, fixed, isDark } from "./show.js";

const byId = (id) => document.getElementById(id);
const metres = (value) => `${fixed(value, 2)} m`;
// Where there is room for it.
const heightFor = (box) => (box.clientWidth > 520 ? 320 : 220);
const LEFT = 52;
const BOTTOM = 30;
// Below this part of its length an antenna is seen as a dot.
const END_ON = 0.2;
const antenna = () => [[colour("panel"), 9], [isDark() ? "#ffab6b" : "#b34700", 5]];

export class Lesson {
  constructor() {
    this.got = null;
    this.asking = false;
    this.wanted = null;
    for (const id of ["depth", "tilt"]) byId(id).addEventListener("input", () => this.ask());
  }

  show() {
    if (this.got) this.draw();
    else this.ask("");
  }

  /** One question at a time; of those meant meanwhile the last is asked. */
  async ask(question) {
    this.label();
    this.wanted = question ?? `?depth_cm=${byId("depth").value}&tilt_deg=${byId("tilt").value}`;
    if (this.asking) return;
    this.asking = true;
    while (this.wanted !== null) {
      const asked = this.wanted;
      this.wanted = null;
      try {
        const answer = await fetch(`/lesson${asked}`);
        if (!answer.ok) throw new Error((await answer.text()).trim());
        this.got = await answer.json();
        if (asked === "") this.take(this.got);
        this.draw();
      } catch (error) {
        byId("lesson-text").textContent = `no lines: ${error.message}`;
      }
    }
    this.asking = false;
  }

  /** Sliders where the program has its unit at first. */
  take({ depth_cm, tilt_deg }) {
    byId("depth").value = depth_cm;
    byId("tilt").value = tilt_deg;
    this.label();
  }

  label() {
    byId("depth-out").textContent = metres(byId("depth").value / 100);
    byId("tilt-out").textContent = `${byId("tilt").value}°`;
  }

  restyle() {
    this.plot?.destroy();
    this.plot = null;
    this.draw();
  }

  draw() {
    if (!this.got || byId("view-class").hidden) return;
    const { upright, level, strongest_m, strongest_level_m, off_deg } = this.got;
    const depth = this.got.depth_cm / 100;
    this.section("upright", upright, depth, "height (m)", (context, at) => {
      this.line(context, at, [upright.low_m[0], 0], [upright.high_m[0], 0], colour("ink"), [6, 4]);
      const angle = (this.got.tilt_deg * Math.PI) / 180;
      this.unit(context, at, [0, -depth], [Math.cos(angle), Math.sin(angle)]);
      this.mark(context, at, [strongest_m, 0]);
    });
    this.section("level-plan", level, depth, "to its left (m)", (context, at) => {
      const seen = Math.cos((this.got.tilt_deg * Math.PI) / 180);
      this.unit(context, at, [0, 0], [seen, 0]);
      this.mark(context, at, [strongest_m, 0]);
      if (seen < END_ON) this.end(context, at([0, 0]));
    });
    this.walk(this.got.walk);
    const words = this.got.note ? [this.got.note] : [];
    words.push(
      `strongest for three axes: ${metres(Math.abs(strongest_m))} from right above`,
      `for the level ones alone: ${metres(Math.abs(strongest_level_m))}`,
    );
    if (off_deg !== undefined) words.push(`measured vectors are ${fixed(off_deg, 1)}° off these lines`);
    byId("lesson-text").textContent = words.join("; ");
  }

  section(id, shown, depth, title, over) {
    const element = byId(id);
    const { context, width, height } = canvas(element);
    const { low_m: low, high_m: high } = shown;
    const scale = Math.min((width - LEFT - 4) / (high[0] - low[0]), (height - BOTTOM - 4) / (high[1] - low[1]));
    const at = ([x, y]) => [LEFT + (x - low[0]) * scale, 4 + (high[1] - y) * scale];
    const [right, bottom] = at([high[0], low[1]]);
    context.save();
    context.beginPath();
    context.rect(LEFT, 4, right - LEFT, bottom - 4);
    context.clip();
    context.strokeStyle = isDark() ? "#5f9dbd" : "#5b8aa3";
    context.lineWidth = 1;
    const unit = depth / 1000;
    for (const line of shown.lines_depth_e3) {
      context.beginPath();
      for (let i = 0; i < line.length; i += 2) context.lineTo(...at([line[i] * unit, line[i + 1] * unit]));
      context.stroke();
    }
    over(context, at);
    for (const { at_m, part } of shown.needles) this.needle(context, at(at_m), part);
    context.restore();
    this.axes(context, at, shown, title);
    element.setAttribute("aria-label", `${shown.lines_depth_e3.length} field lines, ${shown.needles.length} measured vectors; unit ${metres(byId("depth").value / 100)} below the receiver, tilt ${byId("tilt").value} degrees`);
  }

  axes(context, at, { low_m: low, high_m: high }, title) {
    const [left, bottom] = at(low);
    const [right, top] = at(high);
    context.strokeStyle = colour("line");
    context.strokeRect(left, top, right - left, bottom - top);
    context.fillStyle = colour("ink");
    const span = high[0] - low[0];
    const step = [0.25, 0.5, 1, 2, 5].find((step) => span / step <= 9);
    context.textAlign = "center";
    context.textBaseline = "top";
    const ticks = (from, to) => {
      const first = Math.ceil(from / step);
      return Array.from({ length: Math.floor(to / step) - first + 1 }, (_, i) => (first + i) * step);
    };
    const text = (value) => String(value).replace("-", "−");
    for (const x of ticks(low[0], high[0])) context.fillText(text(x), Math.min(Math.max(at([x, 0])[0], left + 8), right - 8), bottom + 3);
    context.fillText("along the antenna (m)", (left + right) / 2, bottom + 16);
    context.textAlign = "right";
    context.textBaseline = "middle";
    for (const y of ticks(low[1], high[1])) context.fillText(text(y), left - 4, Math.min(Math.max(at([0, y])[1], top + 6), bottom - 6));
    context.save();
    context.translate(9, (top + bottom) / 2);
    context.rotate(-Math.PI / 2);
    context.textAlign = "center";
    context.fillText(title, 0, 0);
    context.restore();
  }

  line(context, at, from, to, stroke, dash = []) {
    context.strokeStyle = stroke;
    context.setLineDash(dash);
    context.lineWidth = 1.5;
    context.beginPath();
    context.moveTo(...at(from));
    context.lineTo(...at(to));
    context.stroke();
    context.setLineDash([]);
  }

  /** The antenna by its part in the section. */
  unit(context, at, place, [across, up]) {
    this.bar(context, at(place), [18 * across, -18 * up], antenna());
  }

  /** The antenna as a dot. */
  end(context, [x, y]) {
    for (const [fill, size] of antenna()) {
      context.fillStyle = fill;
      context.beginPath();
      context.arc(x, y, size / 2, 0, 2 * Math.PI);
      context.fill();
    }
  }

  /** A bar about a place, in strokes one on the other. */
  bar(context, [x, y], [dx, dy], strokes) {
    for (const [stroke, width] of strokes) {
      context.strokeStyle = stroke;
      context.lineWidth = width;
      context.beginPath();
      context.moveTo(x - dx, y - dy);
      context.lineTo(x + dx, y + dy);
      context.stroke();
    }
  }

  mark(context, at, place) {
    const [x, y] = at(place);
    context.fillStyle = colour("bad");
    context.strokeStyle = colour("panel");
    context.lineWidth = 2;
    context.beginPath();
    context.moveTo(x, y - 8);
    context.lineTo(x + 7, y);
    context.lineTo(x, y + 8);
    context.lineTo(x - 7, y);
    context.closePath();
    context.fill();
    context.stroke();
  }

  needle(context, [x, y], [across, up]) {
    this.bar(context, [x, y], [11 * across, -11 * up], [[colour("panel"), 5], [colour("ink"), 2.4]]);
  }

  walk({ along_m, all, level }) {
    const box = byId("walk");
    if (!this.plot) {
      const axis = { stroke: colour("ink"), grid: { stroke: colour("grid"), width: 1 }, ticks: { stroke: colour("line") }, values: axisLabels };
      this.plot = new uPlot({
        width: box.clientWidth || 300,
        height: heightFor(box),
        cursor: { show: false },
        legend: { show: true, live: false },
        scales: { x: { time: false }, y: { range: [0, 1.05] } },
        axes: [{ ...axis, label: "along the antenna (m)", labelSize: 18 }, { ...axis, label: "share of the most", labelSize: 18, size: 44 }],
        series: [{}, { label: "all three axes", stroke: colour("accent"), width: 2 }, { label: "level axes alone", stroke: isDark() ? "#ffab6b" : "#b34700", width: 2, dash: [7, 4] }],
      }, [along_m, all, level], box);
    } else {
      this.plot.setData([along_m, all, level]);
    }
    if (box.clientWidth && this.plot.width !== box.clientWidth) this.plot.setSize({ width: box.clientWidth, height: heightFor(box) });
  }
}
