// Studies: what to ask of the case that stands in the form.
import { byId, fill, make } from "./dom.js";
import { content, describe } from "./form.js";
import { NAMES, add } from "./queue.js";

const DETAIL = { coarse: "coarse, for a first look", standard: "standard", fine: "fine" };
let built = false;

function text(id, label, value, help) {
  return make("div", { class: "field" }, make("label", { for: id }, label), make("input", { id, value, autocomplete: "off", "aria-describedby": help ? `${id}-help` : null }), help ? make("p", { class: "help", id: `${id}-help` }, help) : "");
}

const mesh = (id, first) => make("div", { class: "field" }, make("label", { for: id }, "Mesh of the runs"), make("select", { id }, first ? make("option", { value: "" }, first) : "", Object.entries(DETAIL).map(([value, words]) => make("option", { value }, words))));
const read = (id) => byId(id).value.trim();
const tick = (id, label) => make("label", { class: "inline" }, make("input", { id, type: "checkbox" }), label);

function share(id) {
  const given = read(id);
  if (!given) return undefined;
  const value = parseFloat(given) / (given.endsWith("%") || parseFloat(given) > 1 ? 100 : 1);
  if (!(value >= 0.5 && value <= 0.99)) throw new Error(`given: ${given}\nallowed: a share from 50 % to 99 %`);
  return value;
}

function whole(id) {
  const given = read(id);
  if (!given) return undefined;
  if (!/^[0-9]{1,7}$/.test(given)) throw new Error(`given: ${given}\nallowed: a whole number, such as 64`);
  return +given;
}

function card(kind, help, fields, options, measured) {
  const fault = make("p", { class: "fault", role: "alert" }), button = make("button", { type: "submit", class: "main" }, NAMES[kind]);
  const form = make("form", { class: "card", novalidate: "", "aria-labelledby": `card-${kind}` }, make("h3", { id: `card-${kind}` }, NAMES[kind]), make("p", { class: "help" }, help), fields, make("div", { class: "row" }, button), fault);
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    fault.textContent = "";
    try {
      const asked = Object.fromEntries(Object.entries(options()).filter(([, value]) => value !== undefined && value !== "" && value !== false));
      location.hash = `#answer/${await add(kind, content(), asked, measured ? measured() : undefined)}`;
    } catch (error) {
      fault.textContent = error.faults && error.faults.length ? error.faults.map((each) => `${each.key}\ngiven: ${each.given}\nallowed: ${each.allowed}`).join("\n") : error.message;
    }
  });
  return form;
}

function axis(index, key, from, to) {
  const id = `axis${index}`;
  return make("fieldset", null, make("legend", null, index === 1 ? "Across" : "Up"),
    make("div", { class: "fields narrow" },
      make("div", { class: "field" }, make("label", { for: `${id}-key` }, "Key"), make("input", { id: `${id}-key`, list: "axis-keys", value: key, autocomplete: "off" })),
      text(`${id}-from`, "From", from), text(`${id}-to`, "To", to), text(`${id}-count`, "Points", "5")));
}

function vary() {
  return [1, 2].filter((i) => read(`axis${i}-key`)).map((i) => `${read(`axis${i}-key`)}=${read(`axis${i}-from`)}:${read(`axis${i}-to`)}:${read(`axis${i}-count`)}`);
}

const WIDTHS = [["current_A", "Current (A)"], ["speed [mm/s]", "Speed (mm/s)"], ["melt_outside_width [mm]", "Melted outside (mm)"], ["melt_bore_width [mm]", "Melted in the bore (mm)"], ["tint_outside_width [mm]", "Heat tint outside (mm)"]];

function caliper() {
  const body = make("tbody");
  const more = () => { const row = body.children.length + 1; body.append(make("tr", null, WIDTHS.map(([name, label]) => make("td", null, make("input", { "data-name": name, "aria-label": `Bead ${row}: ${label}`, inputmode: "decimal", autocomplete: "off" }))))); };
  more(); more();
  return { csv: () => {
    const rows = [...body.children].map((row) => [...row.querySelectorAll("input")].map((input) => input.value.trim())).filter((row) => row.some(Boolean));
    const used = WIDTHS.map((_, i) => i).filter((i) => rows.some((row) => row[i]));
    return rows.length ? [used.map((i) => WIDTHS[i][0]).join(","), ...rows.map((row) => used.map((i) => row[i]).join(","))].join("\n") + "\n" : "";
  }, node: make("details", null, make("summary", null, "Type what a caliper measured"),
    make("div", { class: "scroll", tabindex: 0, role: "region", "aria-label": "Caliper values" }, make("table", null, make("thead", null, make("tr", null, WIDTHS.map(([, label]) => make("th", { scope: "col" }, label)))), body)),
    make("button", { type: "button", onclick: more }, "Another bead")) };
}

export function showChoices() {
  if (built) return;
  built = true;
  const typed = caliper(), keys = describe().filter((key) => !/^(title|joint|probe|tack|numerics)/.test(key));
  let file = "";
  const chosen = make("p", { class: "help", role: "status" }, "No file chosen.");
  const upload = make("input", { id: "measured", type: "file", accept: ".csv,text/csv,text/plain", onchange: async (event) => {
    const given = event.target.files[0];
    file = "";
    if (!given) chosen.textContent = "No file chosen.";
    else if (given.size > 20e6) chosen.textContent = `${given.name} has ${(given.size / 1e6).toFixed(0)} MB: at most 20 MB`;
    else { file = await given.text(); chosen.textContent = `${given.name}, ${file.split("\n").length} lines`; }
  } });
  fill(byId("choose-body"),
    make("datalist", { id: "axis-keys" }, keys.map((key) => make("option", { value: key }))),
    card("find", "Chooses settings that survive the scatter of a real bench, the quickest first. Minutes.",
      [text("find-sure", "Chance wanted", "90 %"), text("find-fix", "Keys that stay as they are", "", "with commas between"), mesh("find-detail")],
      () => ({ sure: share("find-sure"), fix: read("find-fix"), detail: read("find-detail") })),
    card("window", "Maps where the base stays solid and the filler flows. A click on a point loads its settings.",
      [axis(1, "travel.segment", "8 mm", "20 mm"), axis(2, "travel.pause", "5 s", "40 s"), text("window-sure", "Chance map for", "", "such as 90 %; left out: the plain map"), mesh("window-detail")],
      () => ({ vary: vary(), sure: share("window-sure"), detail: read("window-detail") })),
    card("risk", "Varies what scatters on a real bench (“Scatter” in the form): the chance that the base melts, that the filler fails, and what drives them.",
      [text("risk-samples", "Runs at most", "64", "a power of two"), mesh("risk-detail")],
      () => ({ samples: whole("risk-samples"), detail: read("risk-detail") })),
    card("sequences", "Compares orders of segments: what works first, then even peaks, then time.",
      [text("orders", "Orders", "", "names or lists, with commas between; left out: all named ones"), tick("interpass", "without pauses but the wait to cool"), mesh("sequences-detail", "the case's own")],
      () => ({ orders: read("orders"), equal_interpass: byId("interpass").checked, detail: read("sequences-detail") })),
    card("explain", "Says which key mends each fault, which way and by how much.", [mesh("explain-detail")], () => ({ detail: read("explain-detail") })),
    card("calibrate", "Fits the arc's efficiency and spot to a test bead (joint: bead-on-tube): thermocouples, caliper, or yes and no.",
      [make("div", { class: "field" }, make("label", { for: "measured" }, "File of measurements (CSV)"), upload, chosen), typed.node,
        text("fit", "What is fitted", "", "left out: efficiency,spot"), tick("clock", "the record may not begin with the arc"), mesh("calibrate-detail")],
      () => ({ fit: read("fit"), clock: byId("clock").checked, detail: read("calibrate-detail") }), () => typed.csv() || file));
}
