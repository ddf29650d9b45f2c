// Answers of studies: tables whose rows load their settings, the map of a window, two runs beside each other.
import { draw, make, ticks } from "./dom.js";
import { get } from "./api.js";
import { filesOf, numbersOf, verdictOf } from "./answer.js";
import { load, openResult } from "./form.js";
import { mapOf } from "./pictures.js";
import { NAMES, standing } from "./queue.js";

const number = (value) => value === null || value === undefined ? "" : typeof value === "boolean" ? (value ? "✓ yes" : "✗ no") : typeof value === "number" ? String(+value.toPrecision(5)) : typeof value === "object" ? JSON.stringify(value) : String(value);
const percent = (share) => `${(100 * share).toFixed(share > 0.995 || share < 0.005 ? 1 : 0)} %`;
let goJoint;

const loader = (settings, label) => make("button", { type: "button", "aria-label": `Load ${label}`, onclick: () => goJoint(() => load(settings)) }, "Load");
const inWords = (inputs) => Object.entries(inputs).map(([key, value]) => `${key} = ${value}`).join(", ");

function table(label, heads, rows) {
  return make("div", { class: "scroll short", tabindex: 0, role: "region", "aria-label": label }, make("table", null,
    make("thead", null, make("tr", null, heads.map((head) => make("th", { scope: "col" }, head || make("span", { class: "unseen" }, "Action"))))),
    make("tbody", null, rows.map((row) => make("tr", null, row.map((cell) => make("td", null, cell instanceof Node || Array.isArray(cell) ? cell : number(cell))))))));
}

function picks(rows) {
  return table("Settings", ["", "Settings", "Chance", "Time"], rows.map((row) => [loader(row.inputs, inWords(row.inputs)), inWords(row.inputs),
    row.chance === undefined || row.chance === null ? "" : `${percent(row.chance)} (${percent(row.low)} to ${percent(row.high)})`, row.total_s ? `${row.total_s.toFixed(0)} s` : ""]));
}

const PARTS = {
  find: ({ told }) => [make("h3", null, "Settings to choose among"), picks(told.picks),
    told.instead.length ? [make("h3", null, "What would help"), table("Changes", ["", "Change", "Chance"], told.instead.map((each) => [loader(each.inputs, each.name), `${each.name}: ${inWords(each.inputs)}`, each.chance === null ? "" : percent(each.chance)]))] : ""],
  window: ({ told }) => [windowMap(told), make("h3", null, "Picks"), picks([told.pick, told.safest, told.nearest].filter(Boolean)),
    make("details", null, make("summary", null, `All ${told.runs.length} points`), table("Points", ["", "Settings", "Works", "Margin K", "Surplus K", "Time s"],
      told.runs.map((run) => [loader(run.inputs, inWords(run.inputs)), inWords(run.inputs), run.failed || (run.base_stays_solid && run.filler_flows), run.margin_K, run.surplus_K, run.total_s])))],
  sequences: ({ told }) => [table("Orders", ["", "Order", "Base solid", "Filler flows", "Unevenness K", "Time s"], told.orders.map((each) => [
    loader({ "travel.order": Array.isArray(each.order) ? JSON.stringify(each.order) : each.order }, `order ${each.order}`), String(each.order), each.base_stays_solid, each.filler_flows, each.spread_K, each.total_s]))],
  explain: ({ told }) => [
    told.advice.length ? [make("h3", null, "What to change"), table("Advice", ["", "Change", "Works"], told.advice.map((each) => [loader(each.inputs, inWords(each.inputs)), each.says, each.works]))] : "",
    make("h3", null, "Levers"), table("Levers", ["", "For", "Lever"], told.levers.map((each) => [loader({ [each.key]: each.to }, `${each.key} ${each.to}`), each.finding, each.says]))],
  risk: ({ told }) => [make("h3", null, "Chances"), table("Chances", ["Of", "Chance", "95 % interval"], [["a bench that succeeds", told.success], ["a base that melts", told.base_melts], ["a filler that fails", told.filler_cold]].filter(([, each]) => each && typeof each.chance === "number").map(([name, each]) => [name, percent(each.chance), `${percent(each.low)} to ${percent(each.high)}`])),
    make("h3", null, "What drives them"), table("Drivers", ["Input", "Share, base", "Share, filler"], told.drivers.map((each) => [each.input, each.share_base === null ? "" : percent(each.share_base), each.share_filler === null ? "" : percent(each.share_filler)]))],
  calibrate: ({ told }) => [table("Fitted", ["Input", "Value", "95 % interval"], Object.entries(told.fitted).map(([name, each]) => [name, `${number(each.value)} ${each.unit || ""}`, `${number(each.low)} to ${number(each.high)}`])),
    (told.missing || []).map((text) => make("p", null, text)), (told.misfit || []).map((text) => make("p", { class: "fault" }, text))],
  compare: (view) => [table("Differences", Object.keys(view.rows[0] || { name: 0 }), view.rows.map((row) => Object.values(row)))],
};

export function studyAnswer(job, view, files, back, go) {
  goJoint = go;
  const pictures = files.filter((name) => name.endsWith(".png"));
  const found = files.includes("case.toml") && job.kind !== "run" ? make("button", { type: "button", onclick: () => openResult(`/api/runs/${job.id}/files/case.toml`) }, "The case found into the form") : "";
  const beside = job.kind === "compare" ? make("div", { class: "sides" }) : "";
  if (beside) sideBySide(beside, job.options.runs);
  return [make("div", { class: "row" }, make("h2", null, `${NAMES[job.kind]}: ${view.title}`), make("span", { class: "push" }), found, back), make("p", null, standing(job)),
    view.lines.map((text) => make("p", null, text.charAt(0).toUpperCase() + text.slice(1))), PARTS[job.kind](view), beside,
    make("div", { class: "pictures" }, pictures.map((name) => make("figure", null, make("img", { class: "plot-img", loading: "lazy", src: `/api/runs/${job.id}/files/${name}`, alt: name.replace(/^figures\//, "").replace(".png", "").replaceAll("-", " ") })))),
    make("details", null, make("summary", null, "All files"), filesOf(job, files))];
}

async function sideBySide(place, runs) {
  for (const id of runs) {
    try {
      const { view } = await get(`/api/runs/${id}`);
      place.append(make("section", { class: "sheet", "aria-label": view.title }, make("h3", null, make("a", { href: `#answer/${id}` }, view.title)), verdictOf(view), numbersOf(view), mapOf(view.surfaces[0], view)));
    } catch (error) { place.append(make("p", null, error.message)); }
  }
}

// The map of two keys: each run a point that loads its settings; arrow keys go from point to point.
const SHAPES = {
  works: (x, y) => draw("circle", { cx: x, cy: y, r: 7 }),
  melts: (x, y) => draw("path", { d: `M${x} ${y - 8}l8 14h-16z` }),
  cold: (x, y) => draw("rect", { x: x - 6, y: y - 6, width: 12, height: 12 }),
  failed: (x, y) => draw("path", { d: `M${x - 6} ${y - 6}l12 12m0 -12l-12 12` }),
};
const SAID = { works: "works", melts: "base too hot", cold: "filler fails", failed: "run failed" };

function windowMap(told) {
  if (told.axes.length !== 2) return "";
  const [across, up] = told.axes, W = 520, H = 400, L = 70, B = 46, R = 20, T = 16;
  const value = (axis, text) => parseFloat(String(text));
  const span = (axis) => [Math.min(...axis.values), Math.max(...axis.values)];
  const [x0, x1] = span(across), [y0, y1] = span(up);
  const x = (v) => L + (v - x0) / (x1 - x0) * (W - L - R), y = (v) => H - B - (v - y0) / (y1 - y0) * (H - B - T);
  const state = (run) => run.failed ? "failed" : !run.base_stays_solid ? "melts" : !run.filler_flows ? "cold" : "works";
  const seen = told.runs.map((run) => ({ run, x: x(value(across, run.inputs[across.key])), y: y(value(up, run.inputs[up.key])) })).sort((a, b) => b.y - a.y || a.x - b.x);
  const readout = make("p", { class: "readout", "aria-live": "polite" }, "Choose a point: click, or arrow keys and Enter.");
  const words = ({ run }) => `${inWords(run.inputs)}: ${SAID[state(run)]}${run.margin_K === null ? "" : `, margin ${run.margin_K.toFixed(0)} K`}${run.surplus_K === null ? "" : `, surplus ${run.surplus_K.toFixed(0)} K`}${run.total_s === null ? "" : `, ${run.total_s.toFixed(0)} s`}`;
  const nodes = seen.map((each, index) => {
    const kind = state(each.run), node = SHAPES[kind](each.x, each.y);
    node.setAttribute("class", `node ${kind}`); node.setAttribute("role", "button"); node.setAttribute("tabindex", index ? -1 : 0); node.setAttribute("aria-label", `Load ${words(each)}`);
    const use = () => goJoint(() => load(each.run.inputs));
    node.addEventListener("click", use);
    node.addEventListener("pointerenter", () => { readout.textContent = words(each); });
    node.addEventListener("focus", () => { readout.textContent = words(each); });
    node.addEventListener("keydown", (event) => {
      if (event.key === "Enter" || event.key === " ") { event.preventDefault(); use(); return; }
      const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
      if (!way) return;
      event.preventDefault();
      const ahead = seen.map((other, i) => [i, (other.x - each.x) * way[0] + (other.y - each.y) * way[1], Math.abs((other.x - each.x) * way[1]) + Math.abs((other.y - each.y) * way[0])]).filter(([, along]) => along > 1).sort((a, b) => a[1] + 2 * a[2] - b[1] - 2 * b[2]);
      if (!ahead.length) return;
      node.setAttribute("tabindex", -1); nodes[ahead[0][0]].setAttribute("tabindex", 0); nodes[ahead[0][0]].focus();
    });
    return node;
  });
  const lines = (list, kind) => (list || []).map((line) => draw("path", { class: kind, d: line.map(([a, b], i) => `${i ? "L" : "M"}${x(a).toFixed(1)} ${y(b).toFixed(1)}`).join("") }));
  const mark = (pick, name) => pick ? draw("text", { x: x(value(across, pick.inputs[across.key])), y: y(value(up, pick.inputs[up.key])) - 11, "text-anchor": "middle", "font-weight": 700 }, name) : "";
  const svg = draw("svg", { viewBox: `0 0 ${W} ${H}`, role: "group", "aria-label": `Map of ${across.key} and ${up.key}` },
    ticks(x0, x1).map((at) => [draw("path", { class: "gridline", d: `M${x(at)} ${T}V${H - B}` }), draw("text", { x: x(at), y: H - B + 16, "text-anchor": "middle" }, String(at))]),
    ticks(y0, y1).map((at) => [draw("path", { class: "gridline", d: `M${L} ${y(at)}H${W - R}` }), draw("text", { x: L - 8, y: y(at) + 4, "text-anchor": "end" }, String(at))]),
    draw("text", { x: (L + W - R) / 2, y: H - 8, "text-anchor": "middle" }, `${across.key} (${across.unit})`),
    draw("text", { x: 14, y: (T + H - B) / 2, "text-anchor": "middle", transform: `rotate(-90 14 ${(T + H - B) / 2})` }, `${up.key} (${up.unit})`),
    lines(told.boundaries.base_melts, "edge-melts"), lines(told.boundaries.filler_cold, "edge-cold"), nodes, mark(told.pick, "pick"), told.safest && JSON.stringify(told.safest.inputs) !== JSON.stringify(told.pick?.inputs) ? mark(told.safest, "safest") : "");
  return make("figure", { class: "mapbox" }, svg, readout, make("ul", { class: "key" }, make("li", null, "● works"), make("li", null, "▲ base too hot, beyond the dashed line"), make("li", null, "■ filler fails, beyond the full line"), make("li", null, "✕ run failed")));
}

