// Maps of two keys whose points load their settings: runs of a window, and the chance that a bench succeeds.
import { draw, make, ticks } from "./dom.js";

const W = 520, H = 400, L = 70, B = 46, R = 20, T = 16;
export const inWords = (inputs) => Object.entries(inputs).map(([key, value]) => `${key} = ${value}`).join(", ");
const ends = (axis) => [Math.min(...axis.values), Math.max(...axis.values)];

function placesOf([across, up]) {
  const [x0, x1] = ends(across), [y0, y1] = ends(up);
  return { x: (v) => L + (v - x0) / (x1 - x0) * (W - L - R), y: (v) => H - B - (v - y0) / (y1 - y0) * (H - B - T) };
}

function frame([across, up], { x, y }) {
  return [ticks(...ends(across)).map((at) => [draw("path", { class: "gridline", d: `M${x(at)} ${T}V${H - B}` }), draw("text", { x: x(at), y: H - B + 16, "text-anchor": "middle" }, String(at))]),
    ticks(...ends(up)).map((at) => [draw("path", { class: "gridline", d: `M${L} ${y(at)}H${W - R}` }), draw("text", { x: L - 8, y: y(at) + 4, "text-anchor": "end" }, String(at))]),
    draw("text", { x: (L + W - R) / 2, y: H - 8, "text-anchor": "middle" }, `${across.key} (${across.unit})`),
    draw("text", { x: 14, y: (T + H - B) / 2, "text-anchor": "middle", transform: `rotate(-90 14 ${(T + H - B) / 2})` }, `${up.key} (${up.unit})`)];
}

// Points become buttons, one of them in the order of the Tab key; arrow keys go from point to point.
function buttons(points, use, readout) {
  points.forEach(({ node, x, y, words, settings }, index) => {
    node.setAttribute("role", "button"); node.setAttribute("tabindex", index ? -1 : 0); node.setAttribute("aria-label", `Load ${words}`);
    const told = () => { readout.textContent = words; };
    node.addEventListener("click", () => use(settings));
    node.addEventListener("pointerenter", told);
    node.addEventListener("focus", told);
    node.addEventListener("keydown", (event) => {
      if (event.key === "Enter" || event.key === " ") { event.preventDefault(); use(settings); return; }
      const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
      if (!way) return;
      event.preventDefault();
      const ahead = points.map((other) => [other.node, (other.x - x) * way[0] + (other.y - y) * way[1], Math.abs((other.x - x) * way[1]) + Math.abs((other.y - y) * way[0])])
        .filter(([, along]) => along > 1).sort((a, b) => a[1] + 2 * a[2] - b[1] - 2 * b[2]);
      if (!ahead.length) return;
      node.setAttribute("tabindex", -1); ahead[0][0].setAttribute("tabindex", 0); ahead[0][0].focus();
    });
  });
  return points.map(({ node }) => node);
}

const reader = () => make("p", { class: "readout", "aria-live": "polite" }, "Choose a point: click, or arrow keys and Enter.");

const SHAPES = {
  works: (x, y) => draw("circle", { cx: x, cy: y, r: 7 }),
  melts: (x, y) => draw("path", { d: `M${x} ${y - 8}l8 14h-16z` }),
  cold: (x, y) => draw("rect", { x: x - 6, y: y - 6, width: 12, height: 12 }),
  failed: (x, y) => draw("path", { d: `M${x - 6} ${y - 6}l12 12m0 -12l-12 12` }),
};
const SAID = { works: "works", melts: "base too hot", cold: "filler fails", failed: "run failed" };
const kelvin = (value, name) => value === null ? "" : `, ${name} ${value.toFixed(0)} K`;

// Each run is a point.
export function windowMap(told, use) {
  if (told.axes.length !== 2) return "";
  const [across, up] = told.axes, at = placesOf(told.axes), readout = reader();
  const points = told.runs.map((run) => {
    const kind = run.failed ? "failed" : !run.base_stays_solid ? "melts" : !run.filler_flows ? "cold" : "works", place = placed(run, at), node = SHAPES[kind](place.x, place.y);
    node.setAttribute("class", `node ${kind}`);
    return { ...place, node, settings: run.inputs, words: `${inWords(run.inputs)}: ${SAID[kind]}${kelvin(run.margin_K, "margin")}${kelvin(run.surplus_K, "surplus")}${run.total_s === null ? "" : `, ${run.total_s.toFixed(0)} s`}` };
  }).sort((a, b) => b.y - a.y || a.x - b.x);
  const lines = (list, kind) => (list || []).map((line) => draw("path", { class: kind, d: line.map(([a, b], i) => `${i ? "L" : "M"}${at.x(a).toFixed(1)} ${at.y(b).toFixed(1)}`).join("") }));
  const svg = draw("svg", { viewBox: `0 0 ${W} ${H}`, role: "group", "aria-label": `Map of ${across.key} and ${up.key}` }, frame(told.axes, at),
    lines(told.boundaries.base_melts, "edge-melts"), lines(told.boundaries.filler_cold, "edge-cold"), buttons(points, use, readout), marks(told, at));
  return make("figure", { class: "mapbox" }, svg, readout, make("ul", { class: "key" }, make("li", null, "● works"), make("li", null, "▲ base too hot, beyond the dashed line"), make("li", null, "■ filler fails, beyond the full line"), make("li", null, "✕ run failed")));
}

const placed = (run, at) => ({ x: at.x(run.at[0]), y: at.y(run.at[1]) });

function marks(told, at) {
  const mark = (pick, name) => { const { x, y } = placed(pick, at); const [shift, anchor] = x < L + 40 ? [10, "start"] : x > W - R - 40 ? [-10, "end"] : [0, "middle"]; return draw("text", { class: "mark", x: x + shift, y: y - 11, "text-anchor": anchor, "font-weight": 700 }, name); };
  const same = told.pick && told.safest && JSON.stringify(told.pick.inputs) === JSON.stringify(told.safest.inputs);
  return [told.pick ? mark(told.pick, "quickest") : "", told.safest && !same ? mark(told.safest, "safest") : ""];
}

// A cell a node: the darker the likelier, the chance in words under the pointer, a line round what is sure enough.
export function chanceMap(told, use) {
  if (!told.chances || told.axes.length !== 2) return "";
  const { sure, chance, axes } = told.chances, [across, up] = axes, at = placesOf(axes), readout = reader();
  const edges = (axis, place) => [...axis.values.map((value, i) => 0.5 * (place(axis.values[Math.max(i - 1, 0)]) + place(value))), place(axis.values.at(-1))];
  const xs = edges(across, at.x), ys = edges(up, at.y), many = up.values.length;
  const share = (i, j) => i < 0 || j < 0 || i >= across.values.length || j >= many ? null : chance[i * many + j];
  const line = [], points = [];
  across.values.forEach((_, i) => up.values.forEach((_, j) => {
    const here = share(i, j), settings = { [across.key]: across.settings[i], [up.key]: up.settings[j] };
    const node = draw("rect", { class: "chance", x: xs[i], y: ys[j + 1], width: xs[i + 1] - xs[i], height: ys[j] - ys[j + 1], "fill-opacity": (0.06 + 0.84 * here).toFixed(3) });
    const there = [[across, i], [up, j]].map(([axis, k]) => `${+axis.values[k].toPrecision(4)} ${axis.unit}`.trim()), loads = Object.values(settings);
    const words = `${across.key} ${there[0]}, ${up.key} ${there[1]}: chance ${(100 * here).toFixed(0)} %${there.join() === loads.join() ? "" : `; loads ${loads.join(", ")}`}`; // what can be set may lie beside
    points.push({ node, x: 0.5 * (xs[i] + xs[i + 1]), y: 0.5 * (ys[j] + ys[j + 1]), settings, words });
    for (const [other, d] of [[share(i + 1, j), `M${xs[i + 1]} ${ys[j]}V${ys[j + 1]}`], [share(i, j + 1), `M${xs[i]} ${ys[j + 1]}H${xs[i + 1]}`]]) if (other !== null && other >= sure !== here >= sure) line.push(d);
  }));
  points.sort((a, b) => b.y - a.y || a.x - b.x);
  const svg = draw("svg", { viewBox: `0 0 ${W} ${H}`, role: "group", "aria-label": `Chance that a bench succeeds, over ${across.key} and ${up.key}` }, frame(axes, at), buttons(points, use, readout), draw("path", { class: "surely", d: line.join("") }), marks(told, at));
  return make("figure", { class: "mapbox" }, make("figcaption", null, "Chance that a bench succeeds"), svg, readout, make("ul", { class: "key" },
    [0, 0.25, 0.5, 0.75, 1].map((each) => make("li", null, draw("svg", { class: "chip", viewBox: "0 0 20 12", "aria-hidden": "true" }, draw("rect", { class: "chance", width: 20, height: 12, "fill-opacity": (0.06 + 0.84 * each).toFixed(3) })), ` ${100 * each} %`)),
    make("li", null, `line: ${(100 * sure).toFixed(0)} %`)));
}
