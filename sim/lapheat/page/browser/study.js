// Answers of studies: tables whose rows load their settings, the map of a window, two runs beside each other.
import { make } from "./dom.js";
import { get, linkOf } from "./api.js";
import { filesOf, numbersOf, verdictOf } from "./answer.js";
import { load, openResult } from "./form.js";
import { chanceMap, inWords, windowMap } from "./maps.js";
import { mapOf } from "./pictures.js";
import { NAMES, standing } from "./queue.js";

const number = (value) => value === null || value === undefined ? "" : typeof value === "boolean" ? (value ? "✓ yes" : "✗ no") : typeof value === "number" ? String(+value.toPrecision(5)) : typeof value === "object" ? JSON.stringify(value) : String(value);
const percent = (share) => `${(100 * share).toFixed(share > 0.995 || share < 0.005 ? 1 : 0)} %`;
let goJoint;

const use = (settings) => goJoint(() => load(settings));
const loader = (settings, label) => make("button", { type: "button", "aria-label": `Load ${label}`, onclick: () => use(settings) }, "Load");

function table(label, heads, rows) {
  return make("div", { class: "scroll short", tabindex: 0, role: "region", "aria-label": label }, make("table", null,
    make("thead", null, make("tr", null, heads.map((head) => make("th", { scope: "col" }, head || make("span", { class: "unseen" }, "Action"))))),
    make("tbody", null, rows.map((row) => make("tr", null, row.map((cell) => make("td", null, cell instanceof Node || Array.isArray(cell) ? cell : number(cell))))))));
}

// What was put to the test is told in counts, as a share would round up to the chance wanted.
const chanceOf = (row, benches) => `${benches ? `${Math.round(row.chance * row.benches)} of ${row.benches} ${benches}` : `estimated ${percent(row.chance)}`}, ${percent(row.low)} to ${percent(row.high)}`;
const moved = (kelvin) => `${Math.round(kelvin) > 0 ? "+" : ""}${Math.round(kelvin) || 0}\u00a0K`;

function settings(rows) {
  return table("Settings", ["", "Settings", "Chance", "Time"], rows.map((row) => [loader(row.inputs, inWords(row.inputs)), inWords(row.inputs), chanceOf(row, row.benches > 0 && "fresh benches"), `${row.total_s.toFixed(0)} s`]));
}

function picks(rows) {
  return table("Settings", ["", "Settings", "Chance", "Time"], rows.map((row) => [loader(row.inputs, inWords(row.inputs)), inWords(row.inputs),
    row.chance === undefined || row.chance === null ? "" : `${percent(row.chance)} (${percent(row.low)} to ${percent(row.high)})`, row.total_s ? `${row.total_s.toFixed(0)} s` : ""]));
}

const PARTS = {
  find: ({ told }) => [make("h3", null, "Settings to choose among"), settings(told.picks),
    told.instead.length ? [make("h3", null, "Would it help?"), table("Changes", ["", "Change", "Chance", "Margin", "Slack"], told.instead.map((each) => [loader(each.inputs, each.name), `${each.name}: ${inWords(each.inputs)}`, chanceOf(each, each.counted && "benches"), moved(each.margin_K), moved(each.slack_K)]))] : ""],
  window: ({ told }) => [windowMap(told, use), chanceMap(told, use), make("h3", null, told.pick ? "Picks" : "Nearest to what is wanted"), picks([told.pick, told.safest, told.nearest].filter(Boolean)),
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
    make("div", { class: "pictures" }, pictures.map((name) => make("figure", null, make("img", { class: "plot-img", loading: "lazy", src: linkOf(job.id, name), alt: name.replace(/^figures\//, "").replace(".png", "").replaceAll("-", " ") })))),
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
