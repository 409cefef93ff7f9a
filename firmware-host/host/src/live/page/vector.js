// The field vector of one unit in plan and section, as a needle.

import { ago, colour, colourOf, fixed, roughField, unitOfFields } from "./show.js";

const SIZE = 92;

function svg(name, attributes, text = "") {
  const made = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.textContent = text;
  return made;
}

function needle(id, across, up, names, stroke, label) {
  const place = document.getElementById(id);
  const ink = colour("ink");
  const [x, y] = [SIZE * across, -SIZE * up];
  const parts = [
    svg("circle", { r: SIZE, fill: "none", stroke: colour("line") }),
    svg("circle", { r: SIZE / 2, fill: "none", stroke: colour("grid") }),
    svg("line", { x1: -SIZE, x2: SIZE, y1: 0, y2: 0, stroke: colour("grid") }),
    svg("line", { y1: -SIZE, y2: SIZE, x1: 0, x2: 0, stroke: colour("grid") }),
    svg("text", { x: SIZE + 3, y: -5, fill: ink, "font-size": 13, "text-anchor": "start" }, names[0]),
    svg("text", { x: 5, y: -SIZE - 4, fill: ink, "font-size": 13 }, names[1]),
    svg("line", { x1: -x, y1: -y, x2: x, y2: y, stroke, "stroke-width": 7, "stroke-linecap": "round" }),
    svg("circle", { r: 3.5, fill: colour("panel") }),
  ];
  place.replaceChildren(...parts);
  place.setAttribute("aria-label", label);
}

export function showVector(unit, { about, age_s }) {
  document.getElementById("vector-of").textContent = unit ? `of unit ${unit.name}${age_s === null ? "" : `, ${ago(age_s)}`}` : "";
  const text = document.getElementById("vector-text");
  if (!unit?.vector) {
    const why = about.axes === 3 ? "no unit is heard" : "a receiver of one axis tells no direction";
    text.textContent = why;
    for (const [id, names] of [["plan", ["x", "y"]], ["section", ["", "z"]]]) needle(id, 0, 0, names, "none", why);
    return;
  }
  const [x, y, z] = unit.vector;
  const size = Math.hypot(x, y, z) || 1;
  const level = Math.hypot(x, y);
  const steep = (Math.atan2(Math.abs(z), level) * 180) / Math.PI;
  // Angles of a needle are of its line: 0° to 180°.
  const heading = (((Math.atan2(y, x) * 180) / Math.PI) % 180 + 180) % 180;
  const stroke = age_s === null ? colourOf(unit.name) : colour("line");
  // The end that is drawn ahead in section is the one ahead in plan.
  needle("plan", x / size, y / size, ["x", "y"], stroke, `Plan: the needle lies ${fixed(heading, 0)} degrees from x towards y`);
  needle("section", level / size, z / size, ["", "z"], stroke, `Section: the needle is ${fixed(steep, 0)} degrees from level`);
  const parts = unitOfFields() === "dBµA/m"
    ? `${fixed(heading, 0)}° from x to y`
    : `along x, y, z: ${[x, y, z].map(roughField).join(", ")}; ${fixed(heading, 0)}° from x to y`;
  text.textContent = `${roughField(size)}; ${parts}, ${fixed(steep, 0)}° from level`;
}
