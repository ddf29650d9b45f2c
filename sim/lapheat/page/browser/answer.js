// The answer of one job: verdict, numbers, pictures, files.
import { byId, fill, heat, make, verdict } from "./dom.js";
import { get, linkOf, remember } from "./api.js";
import { ring } from "./joint.js";
import { NAMES, add, onChange, standing } from "./queue.js";
import { put } from "./form.js";
import { mapOf, section, traces } from "./pictures.js";

let current = null, state = "";
onChange((jobs) => { const job = jobs.find((each) => each.id === current); if (job && job.state !== state) show(current); });

const goJoint = (change) => { location.hash = "#joint"; change(); };
const head = (title, ...more) => make("div", { class: "row" }, make("h2", null, title), make("span", { class: "push" }), ...more);

export async function show(id) {
  const place = byId("answer-body");
  let told;
  try { told = await get(`/api/runs/${id}`); } catch (error) { current = null; fill(place, make("p", null, error.message)); return; }
  current = id; state = told.job.state;
  remember(id, told.pass);
  const { job, view } = told;
  const back = told.form ? make("button", { type: "button", onclick: () => goJoint(() => put(told.form)) }, "These settings into the form") : "";
  if (!view || job.state !== "done") {
    fill(place, head(job.title, back), make("p", null, NAMES[job.kind], ": ", standing(job)), make("p", { class: job.state === "failed" ? "fault" : "" }, job.summary));
    place.dataset.shown = id;
    return;
  }
  document.title = `${job.title} - Lapheat`;
  if (job.kind === "run") fill(place, runAnswer(job, view, told.files, back));
  else { const { studyAnswer } = await import("./study.js"); fill(place, studyAnswer(job, view, told.files, back, goJoint)); }
  place.dataset.shown = id;
}

export function verdictOf(view) {
  const [sign, word, kind] = verdict(view.solid && view.flows, view.undecided);
  const part = (holds, yes, no) => `${holds ? "✓" : "✗"} ${holds ? yes : no}`;
  return make("div", null,
    make("p", { class: `verdict ${kind}` }, make("span", { class: "sign", "aria-hidden": "true" }, sign), make("strong", null, word)),
    make("p", null, part(view.solid, "base stays solid", "base does not stay solid"), view.brazed ? make("span", null, " · ", part(view.flows, "filler flows", "filler does not flow")) : ""));
}

const STATES = { holds: ["good tight", "✓ holds"], fails: ["bad tight", "✗ fails"], close: ["near tight", "≈ too close"] };
export function numbersOf(view) {
  return make("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "Margins and times" }, make("table", null,
    make("thead", null, make("tr", null, ["", "Found", "Wanted", ""].map((text, i) => make("th", { scope: "col" }, text || make("span", { class: "unseen" }, i ? "Holds" : "Quantity"))))),
    make("tbody", null, view.numbers.map((row) => make("tr", null, make("th", { scope: "row" }, row.name), make("td", null, row.unsure ? `${row.value} ± ${row.unsure}` : row.value), make("td", null, row.wanted),
      make("td", { class: STATES[row.state]?.[0] || "" }, STATES[row.state]?.[1] || ""))))));
}

export function filesOf(job, files) {
  return [make("h3", null, "Files, as the command line writes them"), make("ul", { class: "key files" },
    files.map((name) => make("li", null, make("a", { href: linkOf(job.id, name, true), download: name.split("/").pop() }, name))))];
}

function runAnswer(job, view, files, back) {
  const explain = make("button", { type: "button", onclick: async () => { const { form } = await get(`/api/runs/${job.id}`); location.hash = `#answer/${await add("explain", form, {})}`; } }, "Which lever helps?");
  const pictures = make("div", { class: "pictures" });
  const hot = view.segments.map((each) => each.tube).filter((each) => each !== null);
  const low = Math.min(...hot), high = Math.max(...hot);
  const paint = (each) => { const found = view.segments.find((one) => one.number === each.number); return found && found.tube !== null ? `rgb(${heat(high > low ? 0.25 + 0.6 * (found.tube - low) / (high - low) : 0.5).join(",")})` : "seg"; };
  const solidPlace = make("figure", { class: "wide" });
  fill(pictures,
    view.surfaces.map((surface) => mapOf(surface, view)), traces(view), section(view),
    ring(view.segments, view.segments.length, "Ring of segments, coloured by the tube's peak", `Ring from above, each segment coloured by the tube's peak: ${low.toFixed(0)} (dark) to ${high.toFixed(0)} ${view.unit.temperature}`, paint),
    segmentTable(view), solidPlace);
  import("./solid.js").then(({ solid }) => solid(solidPlace, job, view));
  return [head(view.title, explain, back), verdictOf(view),
    view.sentences.map((text) => make("p", null, text)),
    view.notes.length ? [make("h3", null, "Also look at"), make("ul", null, view.notes.map((text) => make("li", null, text)))] : "",
    make("h3", null, "Margins"), numbersOf(view), pictures,
    make("h3", null, "Bench sheet"),
    make("p", null, make("a", { href: linkOf(job.id, "sheet.pdf", true), download: "sheet.pdf" }, "Sheet to print, A4"), " · ", make("a", { href: linkOf(job.id, "sheet-letter.pdf", true), download: "sheet-letter.pdf" }, "US letter"), " · ", make("a", { href: linkOf(job.id, "report.html", true), download: "report.html" }, "Report"), " · ", make("a", { href: linkOf(job.id, "case.toml", true), download: "case.toml" }, "Case")),
    make("details", null, make("summary", null, "Look at the sheet"), make("img", { class: "plot-img", loading: "lazy", src: linkOf(job.id, "sheet.png"), alt: "The bench sheet; its text is in sheet.pdf" })),
    make("details", null, make("summary", null, "What was assumed"), make("ul", null, view.assumed.map((text) => make("li", null, text)))),
    make("details", null, make("summary", null, "All files"), filesOf(job, files))];
}

function segmentTable(view) {
  const degree = view.unit.temperature, cell = (value) => make("td", null, value === null ? "" : value.toFixed(0));
  return make("figure", null, make("div", { class: "scroll short", tabindex: 0, role: "region", "aria-label": "Segments" }, make("table", null,
    make("caption", { class: "unseen" }, "Segments in the order they are laid"),
    make("thead", null, make("tr", null, ["Segment", "from s", "to s", `start ${degree}`, `tube ${degree}`, `flange ${degree}`].map((text) => make("th", { scope: "col" }, text)))),
    make("tbody", null, view.segments.map((each) => make("tr", null, make("th", { scope: "row" }, String(each.number)), cell(each.start_s), cell(each.end_s), cell(each.start), cell(each.tube), cell(each.flange)))))));
}

