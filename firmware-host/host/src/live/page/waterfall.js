// The spectrum around 457 kHz: the newest as a line, all of the last half minute as colours.

import { axisLabels, canvas, colour, isDark, levelUnit, overMicroampere, roughLevel } from "./show.js";

const ROWS = 400;
const STEP_S = 0.064;
const LEFT = 44;
const RIGHT = 12;
const BOTTOM = 22;
const SPAN_DB = 60;
// Rows that the upper line of the spectrum is the greatest of: some two periods.
const PEAK_ROWS = 40;

/** Dark blue through green to pale yellow, in even steps of lightness. */
function heat(share) {
  const t = Math.min(1, Math.max(0, share));
  const stops = [[8, 12, 30], [20, 62, 110], [18, 122, 126], [70, 176, 96], [190, 212, 70], [255, 250, 200]];
  const at = t * (stops.length - 1);
  const low = Math.min(stops.length - 2, Math.floor(at));
  return stops[low].map((c, i) => Math.round(c + (at - low) * (stops[low + 1][i] - c)));
}
const HEAT = Array.from({ length: 256 }, (_, i) => heat(i / 255));

export class Waterfall {
  constructor(band) {
    this.band = band;
    this.rows = [];
    this.floor = null;
    this.rolled = document.createElement("canvas");
    this.rolled.width = band.lines;
    this.rolled.height = ROWS;
    this.last_s = null;
    this.hz = Array.from({ length: band.lines }, (_, i) => band.first_hz + i * band.step_hz - 457000);
    this.scale = document.getElementById("scale").getContext("2d");
    HEAT.forEach(([r, g, b], i) => {
      this.scale.fillStyle = `rgb(${r} ${g} ${b})`;
      this.scale.fillRect(i, 0, 1, 1);
    });
    this.restyle();
  }

  end() {
    this.plot.destroy();
  }

  restyle() {
    this.plot?.destroy();
    const box = document.getElementById("spectrum");
    const axis = { stroke: colour("ink"), grid: { stroke: colour("grid"), width: 1 }, ticks: { stroke: colour("line") }, values: axisLabels };
    this.plot = new uPlot({
      width: box.clientWidth || 300,
      height: 190,
      padding: [8, RIGHT, 0, 0],
      cursor: { show: false },
      legend: { show: true, live: false },
      scales: { x: { time: false } },
      axes: [
        { ...axis, label: "carrier − 457 kHz (Hz)", labelSize: 18, size: 34 },
        { ...axis, size: LEFT, label: levelUnit(), labelSize: 14 },
      ],
      series: [
        {},
        { label: "greatest of the last 2.5 s", stroke: isDark() ? "#ffab6b" : "#b34700", width: 1.2, points: { show: false } },
        { label: "now", stroke: colour("accent"), width: 1.6, points: { show: false } },
      ],
    }, [this.hz, [], []], box);
  }

  add(row) {
    // Rows that never came are dark.
    const missing = this.last_s === null ? 0 : Math.round((row.at_s - this.last_s) / STEP_S) - 1;
    this.last_s = row.at_s;
    for (let i = 0; i < Math.min(Math.max(0, missing), ROWS); i++) this.roll(null);
    const sorted = [...row.level_db].sort((a, b) => a - b);
    const middle = sorted[sorted.length >> 1];
    // The floor follows slowly, so that colours keep their meaning.
    this.floor = this.floor === null ? middle : this.floor + 0.02 * (middle - this.floor);
    this.rows.push(row.level_db);
    if (this.rows.length > PEAK_ROWS) this.rows.shift();
    this.roll(row.level_db);
  }

  low() {
    return this.floor - 8;
  }

  roll(levels) {
    const context = this.rolled.getContext("2d", { willReadFrequently: false });
    context.globalCompositeOperation = "copy";
    context.drawImage(this.rolled, 0, 1);
    context.globalCompositeOperation = "source-over";
    const line = context.createImageData(this.band.lines, 1);
    for (let i = 0; i < this.band.lines; i++) {
      const share = levels ? (levels[i] - this.low()) / SPAN_DB : 0;
      const [r, g, b] = HEAT[Math.round(255 * Math.min(1, Math.max(0, share)))];
      line.data.set([r, g, b, 255], 4 * i);
    }
    context.putImageData(line, 0, 0);
  }

  draw() {
    if (this.floor === null) return;
    this.drawSpectrum();
    const element = document.getElementById("waterfall");
    const { context, width, height } = canvas(element);
    const [w, h] = [width - LEFT - RIGHT, height - BOTTOM];
    context.imageSmoothingEnabled = false;
    context.drawImage(this.rolled, LEFT, 0, w, h);
    context.fillStyle = colour("ink");
    context.textAlign = "right";
    context.textBaseline = "middle";
    for (let s = 0; s <= ROWS * STEP_S; s += 5) {
      const y = Math.min(h - 6, Math.max(7, (s / (ROWS * STEP_S)) * h));
      context.fillText(s === 0 ? "now" : `−${s} s`, LEFT - 5, y);
    }
    context.textAlign = "center";
    context.textBaseline = "top";
    const first = this.hz[0];
    const span = this.band.step_hz * this.band.lines;
    for (let hz = -300; hz <= 300; hz += width < 500 ? 150 : 100) {
      const x = LEFT + ((hz - first + this.band.step_hz / 2) / span) * w;
      if (x < LEFT - 12 || x > LEFT + w + 12) continue;
      const edge = Math.min(Math.max(x, LEFT + 14), LEFT + w - 14);
      context.fillText(`${hz > 0 ? "+" : ""}${hz}`.replace("-", "−"), edge, h + 5);
    }
    document.getElementById("scale-low").textContent = roughLevel(this.low());
    document.getElementById("scale-high").textContent = roughLevel(this.low() + SPAN_DB);
    element.setAttribute("aria-label", `Spectrum of the last ${Math.round(ROWS * STEP_S)} seconds, ±300 Hz around 457 kHz, noise at ${roughLevel(this.floor)} a line`);
  }

  drawSpectrum() {
    const over = overMicroampere();
    const now = this.rows[this.rows.length - 1].map((db) => db + over);
    const peak = this.hz.map((_, i) => this.rows.reduce((most, row) => Math.max(most, row[i]), -400) + over);
    const box = document.getElementById("spectrum");
    if (box.clientWidth && this.plot.width !== box.clientWidth) this.plot.setSize({ width: box.clientWidth, height: 190 });
    this.plot.setData([this.hz, peak, now]);
    const best = peak.indexOf(Math.max(...peak));
    box.setAttribute("aria-label", `Spectrum: strongest ${roughLevel(peak[best] - over)} at ${Math.round(this.hz[best])} Hz from 457 kHz`);
  }
}
