// Pictures of a run: the unrolled map with its values, traces, the section.
import { HEAT, colour, make, sharp, ticks } from "./dom.js";

const LEFT = 58, RIGHT = 8, TOP = 8, BOTTOM = 34;

function painted(canvas, height, paint) {
  const again = () => { if (canvas.isConnected && canvas.clientWidth) paint(sharp(canvas, canvas.clientWidth, height), canvas.clientWidth, height); };
  new ResizeObserver(again).observe(canvas);
  const themed = () => { if (canvas.isConnected) again(); else document.removeEventListener("theme", themed); };
  document.addEventListener("theme", themed);
  return again;
}

function axes(pen, width, height, xs, ys, xName, yName) {
  pen.strokeStyle = colour("gridline"); pen.fillStyle = colour("ink"); pen.lineWidth = 1;
  pen.textAlign = "center"; pen.textBaseline = "top";
  for (const at of ticks(xs.low, xs.high, width / 90)) { pen.beginPath(); pen.moveTo(xs.at(at), TOP); pen.lineTo(xs.at(at), height - BOTTOM); pen.stroke(); pen.fillText(String(at), xs.at(at), height - BOTTOM + 3); }
  pen.textAlign = "right"; pen.textBaseline = "middle";
  for (const at of ticks(ys.low, ys.high, height / 45)) { pen.beginPath(); pen.moveTo(LEFT, ys.at(at)); pen.lineTo(width - RIGHT, ys.at(at)); pen.stroke(); pen.fillText(String(at), LEFT - 4, ys.at(at)); }
  pen.textAlign = "center"; pen.textBaseline = "bottom";
  pen.fillText(xName, (LEFT + width - RIGHT) / 2, height);
  pen.save(); pen.translate(11, (TOP + height - BOTTOM) / 2); pen.rotate(-Math.PI / 2); pen.textBaseline = "middle"; pen.fillText(yName, 0, 0); pen.restore();
}

const scale = (low, high, from, to) => ({ low, high, at: (value) => from + (value - low) / (high - low) * (to - from), back: (pixel) => low + (pixel - from) / (to - from) * (high - low) });

// Stretch of a surface worth showing: all that gets hot, and some more.
function hotStretch(surface) {
  const rows = surface.edges.length - 1, of = (row) => Math.max(...surface.peak.slice(row * surface.layers, (row + 1) * surface.layers));
  const tops = Array.from({ length: rows }, (_, row) => of(row)), most = Math.max(...tops), least = Math.min(...tops);
  const hot = tops.map((top, row) => [top, row]).filter(([top]) => top > least + 0.3 * (most - least)).map(([, row]) => row);
  return [Math.max(0, hot[0] - 1), Math.min(rows - 1, hot[hot.length - 1] + 1)];
}

export function mapOf(surface, view) {
  const degree = view.unit.temperature, long = view.unit.length;
  const canvas = make("canvas", { role: "img", tabindex: 0, "aria-label": `Peak temperature of the ${surface.name}, unrolled. Arrow keys read values.` });
  const readout = make("p", { class: "readout", "aria-live": "polite" }, "Point at the map, or use the arrow keys in it.");
  const [first, last] = hotStretch(surface), height = 230;
  const all = surface.peak, low = Math.min(...all), high = Math.max(...all);
  const solidus = surface.name.startsWith("tube") ? view.levels.tube : view.levels.flange;
  let cursor = null, xs, ys;
  const value = (row, layer) => all[row * surface.layers + layer];
  const again = painted(canvas, height, (pen, width) => {
    pen.clearRect(0, 0, width, height);
    xs = scale(0, 360, LEFT, width - RIGHT);
    ys = scale(surface.edges[first], surface.edges[last + 1], height - BOTTOM, TOP);
    axes(pen, width, height, xs, ys, "angle (deg)", `${surface.name.startsWith("tube") ? "height" : "outward"} (${long})`);
    const step = (width - RIGHT - LEFT) / surface.layers;
    for (let row = first; row <= last; row++) {
      const y0 = ys.at(surface.edges[row + 1]), y1 = ys.at(surface.edges[row]);
      for (let layer = 0; layer < surface.layers; layer++) {
        pen.fillStyle = HEAT[Math.round(255 * (value(row, layer) - low) / (high - low || 1))];
        pen.fillRect(LEFT + layer * step, y0, step + 0.6, y1 - y0 + 0.6);
      }
    }
    outline(pen, view.levels.flow, step, "#ffffff", []);
    outline(pen, solidus, step, "#000000", [5, 3]);
    if (cursor) { pen.strokeStyle = "#ffffff"; pen.lineWidth = 3; const r = [LEFT + cursor[1] * step, ys.at(surface.edges[cursor[0] + 1]), step, ys.at(surface.edges[cursor[0]]) - ys.at(surface.edges[cursor[0] + 1])]; pen.strokeRect(...r); pen.strokeStyle = "#000000"; pen.lineWidth = 1; pen.strokeRect(...r); }
  });
  // Between cells on either side of a level.
  function outline(pen, level, step, ink, dash) {
    if (level === null) return;
    pen.strokeStyle = ink; pen.lineWidth = 1.6; pen.setLineDash(dash); pen.beginPath();
    for (let row = first; row <= last; row++) for (let layer = 0; layer < surface.layers; layer++) {
      const x = LEFT + layer * step, y0 = ys.at(surface.edges[row + 1]), y1 = ys.at(surface.edges[row]), here = value(row, layer) >= level;
      if (layer + 1 < surface.layers && here !== (value(row, layer + 1) >= level)) { pen.moveTo(x + step, y0); pen.lineTo(x + step, y1); }
      if (row < last && here !== (value(row + 1, layer) >= level)) { pen.moveTo(x, y0); pen.lineTo(x + step, y0); }
    }
    pen.stroke(); pen.setLineDash([]);
  }
  const told = () => {
    const [row, layer] = cursor;
    readout.textContent = `${value(row, layer)} ${degree} at ${((layer + 0.5) * 360 / surface.layers).toFixed(0)} deg, ${((surface.edges[row] + surface.edges[row + 1]) / 2).toPrecision(3)} ${long} ${surface.name.startsWith("tube") ? "up" : "out"}`;
    again();
  };
  canvas.addEventListener("pointermove", (event) => {
    const box = canvas.getBoundingClientRect(), x = event.clientX - box.left, at = ys.back(event.clientY - box.top);
    const layer = Math.floor((x - LEFT) / ((box.width - RIGHT - LEFT) / surface.layers)), row = surface.edges.findIndex((edge, i) => i <= last && i >= first && edge <= at && at < surface.edges[i + 1]);
    if (layer >= 0 && layer < surface.layers && row >= 0) { cursor = [row, layer]; told(); }
  });
  canvas.addEventListener("keydown", (event) => {
    const way = { ArrowLeft: [0, -1], ArrowRight: [0, 1], ArrowUp: [1, 0], ArrowDown: [-1, 0] }[event.key];
    if (!way) return;
    event.preventDefault();
    const [row, layer] = cursor || [first, 0];
    cursor = [Math.min(Math.max(row + way[0], first), last), (layer + way[1] + surface.layers) % surface.layers];
    told();
  });
  const lines = [high >= view.levels.flow && view.levels.flow !== null ? `white: filler flow ${view.levels.flow.toFixed(0)} ${degree}` : "", solidus !== null && high >= solidus ? `black, dashed: solidus ${solidus.toFixed(0)} ${degree}` : ""].filter(Boolean);
  return make("figure", null, canvas, readout, make("figcaption", null, `Peak temperature, ${surface.name}: ${low} (dark) to ${high} ${degree} (bright)${lines.length ? `; ${lines.join("; ")}` : ""}`));
}

const INKS = ["#d55e00", "#009e73", "#3c8fc7", "#cc79a7", "#b07a00", "#7b61c9"];
const DASHES = [[], [7, 3], [2, 2], [9, 2, 2, 2], [4, 4], [1, 3]];

export function traces(view) {
  const trace = view.trace, degree = view.unit.temperature;
  const canvas = make("canvas", { role: "img", tabindex: 0, "aria-label": "Temperatures through time. Arrow keys read values." });
  const readout = make("p", { class: "readout", "aria-live": "polite" }, "Point at the traces, or use the arrow keys in them.");
  const height = 300;
  let cursor = null, xs;
  const again = painted(canvas, height, (pen, width) => {
    pen.clearRect(0, 0, width, height);
    const top = Math.max(...trace.lines.flatMap((line) => line.values), view.levels.tube || 0);
    xs = scale(0, trace.time[trace.time.length - 1], LEFT, width - RIGHT);
    const ys = scale(0, top * 1.03, height - BOTTOM, TOP), amps = Math.max(...trace.current, 1);
    pen.fillStyle = colour("wash");
    for (let i = 1; i < trace.time.length; i++) if (trace.current[i] > 0) { const tall = trace.current[i] / amps * 50; pen.fillRect(xs.at(trace.time[i - 1]), height - BOTTOM - tall, xs.at(trace.time[i]) - xs.at(trace.time[i - 1]) + 0.5, tall); }
    axes(pen, width, height, xs, ys, "time (s)", degree);
    for (const [level, dash] of [[view.levels.flow, [2, 3]], [view.levels.tube, [6, 4]]]) if (level !== null) { pen.strokeStyle = colour("soft"); pen.setLineDash(dash); pen.beginPath(); pen.moveTo(LEFT, ys.at(level)); pen.lineTo(width - RIGHT, ys.at(level)); pen.stroke(); }
    trace.lines.forEach((line, index) => {
      pen.strokeStyle = INKS[index % INKS.length]; pen.lineWidth = 1.6; pen.setLineDash(DASHES[index % DASHES.length]); pen.beginPath();
      line.values.forEach((value, i) => pen.lineTo(xs.at(trace.time[i]), ys.at(value)));
      pen.stroke();
    });
    pen.setLineDash([]);
    if (cursor !== null) { pen.strokeStyle = colour("ink"); pen.lineWidth = 1; pen.beginPath(); pen.moveTo(xs.at(trace.time[cursor]), TOP); pen.lineTo(xs.at(trace.time[cursor]), height - BOTTOM); pen.stroke(); }
  });
  const told = () => {
    readout.textContent = `${trace.time[cursor].toFixed(1)} s, segment ${trace.segment[cursor]}, ${trace.current[cursor]} A: ${trace.lines.map((line) => `${line.name} ${line.values[cursor]}`).join(", ")} ${degree}`;
    again();
  };
  canvas.addEventListener("pointermove", (event) => {
    const at = xs.back(event.clientX - canvas.getBoundingClientRect().left);
    cursor = trace.time.findIndex((time) => time >= at);
    if (cursor < 0) cursor = trace.time.length - 1;
    told();
  });
  canvas.addEventListener("keydown", (event) => {
    const way = { ArrowLeft: -1, ArrowRight: 1, PageUp: 25, PageDown: -25 }[event.key];
    if (!way) return;
    event.preventDefault();
    cursor = Math.min(Math.max((cursor ?? 0) + way, 0), trace.time.length - 1);
    told();
  });
  return make("figure", null, canvas, readout, make("figcaption", null, "Hottest surfaces and probes through time; grey lines: flow (dotted) and the tube's solidus (dashed); at the bottom the arc's current"),
    make("ul", { class: "key" }, trace.lines.map((line, index) => make("li", null, swatch(INKS[index % INKS.length], DASHES[index % DASHES.length]), ` ${line.name}`))));
}

function swatch(ink, dash) {
  const canvas = make("canvas", { width: 34, height: 8, class: "swatch", "aria-hidden": "true" }), pen = canvas.getContext("2d");
  pen.strokeStyle = ink; pen.lineWidth = 2.5; pen.setLineDash(dash); pen.beginPath(); pen.moveTo(0, 4); pen.lineTo(34, 4); pen.stroke();
  return canvas;
}

export function section(view) {
  const told = view.section, degree = view.unit.temperature, long = view.unit.length;
  const canvas = make("canvas", { role: "img", "aria-label": `Section at ${told.angle} deg when it was hottest` });
  const readout = make("p", { class: "readout" }, "Point at the section.");
  const [left, right, low, high] = told.view, height = 300;
  const real = told.values.filter((_, i) => told.alive[i]), cold = Math.min(...real), hot = Math.max(...real);
  let back = null;
  painted(canvas, height, (pen, width) => {
    pen.clearRect(0, 0, width, height);
    const size = Math.min((width - LEFT - RIGHT) / (right - left), (height - TOP - BOTTOM) / (high - low));
    const xs = scale(left, left + (width - LEFT - RIGHT) / size, LEFT, width - RIGHT), ys = scale(high - (height - TOP - BOTTOM) / size, high, height - BOTTOM, TOP);
    axes(pen, width, height, xs, ys, `radius (${long})`, `height (${long})`);
    back = (x, y) => [xs.back(x), ys.back(y)];
    pen.save(); pen.beginPath(); pen.rect(LEFT, TOP, width - LEFT - RIGHT, height - TOP - BOTTOM); pen.clip();
    told.cells.forEach((cell, i) => {
      pen.beginPath();
      for (const corner of cell) pen.lineTo(xs.at(told.points[corner][0]), ys.at(told.points[corner][1]));
      pen.closePath();
      if (!told.alive[i]) { pen.strokeStyle = colour("soft"); pen.lineWidth = 0.4; pen.stroke(); return; }
      pen.fillStyle = HEAT[Math.round(255 * (told.values[i] - cold) / (hot - cold || 1))];
      pen.strokeStyle = pen.fillStyle; pen.lineWidth = 0.7; pen.fill(); pen.stroke();
    });
    borders(pen, xs, ys);
    pen.restore();
  });
  function borders(pen, xs, ys) {
    const sides = new Map();
    told.cells.forEach((cell, i) => cell.forEach((corner, k) => {
      const other = cell[(k + 1) % cell.length], key = corner < other ? `${corner} ${other}` : `${other} ${corner}`, before = sides.get(key);
      sides.set(key, before === undefined ? told.part[i] : before === told.part[i] ? -1 : told.part[i]);
    }));
    pen.strokeStyle = colour("ink"); pen.lineWidth = 1; pen.beginPath();
    for (const [key, part] of sides) if (part >= 0) { const [a, b] = key.split(" ").map((n) => told.points[n]); pen.moveTo(xs.at(a[0]), ys.at(a[1])); pen.lineTo(xs.at(b[0]), ys.at(b[1])); }
    pen.stroke();
  }
  canvas.addEventListener("pointermove", (event) => {
    if (!back) return;
    const box = canvas.getBoundingClientRect(), at = back(event.clientX - box.left, event.clientY - box.top);
    const found = told.cells.findIndex((cell) => inside(at, cell.map((corner) => told.points[corner])));
    if (found >= 0) readout.textContent = told.alive[found] ? `${told.values[found]} ${degree} in the ${["tube", "flange", "fillet"][told.part[found]] || "joint"}` : "no filler here yet";
  });
  return make("figure", null, canvas, readout, make("figcaption", null, `Section at ${told.angle} deg, ${told.time} s, when the base was nearest to melting: ${cold} (dark) to ${hot} ${degree} (bright)`));
}

function inside([x, y], corners) {
  let within = false;
  corners.forEach(([x1, y1], i) => { const [x0, y0] = corners[(i + corners.length - 1) % corners.length]; if ((y1 > y) !== (y0 > y) && x < (x0 - x1) * (y - y1) / (y0 - y1) + x1) within = !within; });
  return within;
}
