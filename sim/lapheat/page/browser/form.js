// The form of a case: built from what the server says of its keys, checked as one types.
import { byId, fill, make, say } from "./dom.js";
import { get, post } from "./api.js";
import { drawing } from "./joint.js";

const KEPT = "lapheat-form";
let tables = [];
const inputs = new Map(); // dotted key to its control
let more = null; // the field for what has none
let wanted = false, asking = false, faultsNow = [];
const idOf = (key) => `f-${key.replace(/[^a-z0-9]+/gi, "-")}`;

export const values = () => Object.fromEntries([...inputs].map(([key, input]) => [key, input.value]).filter(([, text]) => text.trim()));
export const describe = () => tables.flatMap((table) => table.fields.map((field) => field.key));
export const content = () => ({ values: values(), more: more.value });

function control(field, key) {
  const id = idOf(key), about = { id, name: key, "aria-describedby": `${id}-help ${id}-fault`, autocomplete: "off", spellcheck: "false" };
  if (field.required) about["aria-required"] = "true";
  if (field.closed) return make("select", about, make("option", { value: "" }, `${field.default || "as given by others"} (left out)`), field.choices.map((word) => make("option", { value: word }, word)));
  return make("input", { ...about, placeholder: field.required ? field.example : field.default, list: field.choices.length ? `${id}-list` : null });
}

function fieldOf(field, key) {
  const id = idOf(key), input = control(field, key);
  inputs.set(key, input);
  return make("div", { class: "field" },
    make("label", { for: id }, field.label, field.required ? make("span", { class: "must" }, " (required)") : ""),
    input,
    field.choices.length && !field.closed ? make("datalist", { id: `${id}-list` }, field.choices.map((word) => make("option", { value: word }))) : null,
    make("p", { class: "help", id: `${id}-help` }, field.help),
    make("p", { class: "fault", id: `${id}-fault`, hidden: true }));
}

function tableOf(table) {
  const name = (field) => field.key;
  const seen = table.fields.filter((field) => field.common), rest = table.fields.filter((field) => !field.common);
  const folded = (fields, label) => fields.length ? make("details", { "data-fold": "" }, make("summary", null, label), make("div", { class: "fields" }, fields.map((field) => fieldOf(field, name(field))))) : null;
  const help = table.help ? make("p", { class: "help" }, table.help) : null;
  if (table.many) {
    const list = make("div"), add = make("button", { type: "button", onclick: () => { addEntry(table, list); input(); } }, `Add a ${table.label.toLowerCase()}`);
    return make("details", { id: `many-${table.name}`, "data-fold": "" }, make("summary", null, table.label), help, list, add);
  }
  if (!seen.length) return make("details", { "data-fold": "" }, make("summary", null, table.label), help, make("div", { class: "fields" }, table.fields.map((field) => fieldOf(field, name(field)))));
  return make("fieldset", null, make("legend", null, table.label), help,
    make("div", { class: "fields" }, seen.map((field) => fieldOf(field, name(field)))),
    folded(rest, `More of ${table.label.toLowerCase()}: ${rest.map((field) => field.label.toLowerCase()).join(", ")}`));
}

function addEntry(table, list) {
  const index = list.children.length + 1;
  const keys = table.fields.map((field) => [field, field.key.replace(".", `[${index}].`)]);
  const entry = make("fieldset", null, make("legend", null, `${table.label} ${index}`), make("div", { class: "fields" }, keys.map(([field, key]) => fieldOf(field, key))),
    make("button", { type: "button", onclick: () => removeEntry(table, list, index) }, `Remove ${table.label.toLowerCase()} ${index}`));
  list.append(entry);
}

function removeEntry(table, list, index) {
  const kept = values();
  for (const key of Object.keys(kept)) {
    const at = key.match(/^([a-z]+)\[(\d+)\]\.(.+)$/);
    if (!at || at[1] !== table.name || +at[2] < index) continue;
    if (+at[2] > index) kept[`${at[1]}[${at[2] - 1}].${at[3]}`] = kept[key];
    delete kept[key];
    if (+at[2] > index) continue;
  }
  put({ values: kept, more: more.value });
  byId(`many-${table.name}`).querySelector("summary").focus();
}

// Put a whole case into the form; what has no field goes below it.
export function put(told) {
  for (const table of tables.filter((each) => each.many)) {
    const list = byId(`many-${table.name}`).querySelector("div");
    for (const key of [...inputs.keys()]) if (key.startsWith(`${table.name}[`)) inputs.delete(key);
    list.replaceChildren();
    const most = Math.max(0, ...Object.keys(told.values).map((key) => key.match(/^([a-z]+)\[(\d+)\]/)).filter((at) => at && at[1] === table.name).map((at) => +at[2]));
    for (let i = 0; i < most; i++) addEntry(table, list);
  }
  for (const [key, input] of inputs) {
    const text = told.values[key] || "";
    if (input.tagName === "SELECT" && text && ![...input.options].some((option) => option.value === text)) input.append(make("option", { value: text }, text));
    input.value = text;
  }
  more.value = told.more || "";
  for (const fold of byId("form").querySelectorAll("details")) fold.open = false;
  return input();
}

// Change single settings, as a click in a map does.
export function load(settings) {
  for (const [key, text] of Object.entries(settings)) {
    const input = inputs.get(key);
    if (input) { input.value = text; input.closest("details")?.setAttribute("open", ""); }
  }
  input();
  say(`Settings loaded: ${Object.entries(settings).map(([key, text]) => `${key} ${text}`).join(", ")}`);
}

function input() {
  try { const text = JSON.stringify(content()); sessionStorage.setItem(KEPT, text); } catch { /* a full store keeps the old */ }
  wanted = true;
  return check();
}

async function check() {
  if (asking) return;
  asking = true;
  while (wanted) {
    wanted = false;
    try { shown(await post("/api/check", content())); } catch (error) { faultList([{ key: "page", given: "", allowed: error.status ? error.message : `the server does not answer: ${error.message}`, hint: "" }]); }
  }
  asking = false;
}

const lines = (fault) => [`given: ${fault.given}`, `allowed: ${fault.allowed}`, fault.hint && `hint: ${fault.hint}`].filter(Boolean).join("\n");

function shown(told) {
  faultsNow = told.faults;
  const byKey = new Map();
  for (const fault of told.faults) byKey.set(fault.key, [...(byKey.get(fault.key) || []), lines(fault)]);
  for (const [key, input] of inputs) {
    const text = byKey.get(key), line = byId(`${input.id}-fault`);
    line.hidden = !text;
    line.textContent = text ? text.join("\n") : "";
    if (text) input.setAttribute("aria-invalid", "true"); else input.removeAttribute("aria-invalid");
    const given = told.defaults && told.defaults[key];
    if (given && input.tagName === "INPUT") input.placeholder = given;
  }
  faultList(told.faults);
  byId("run").disabled = told.faults.length > 0;
  const place = byId("drawing");
  place.classList.toggle("stale", told.faults.length > 0);
  if (told.drawing) fill(place, drawing(told.drawing));
  document.dispatchEvent(new CustomEvent("checked", { detail: told }));
}

function faultList(faults) {
  const place = byId("faults");
  if (!faults.length) { place.classList.remove("bad"); fill(place, make("span", { class: "good" }, "✓ The case is sound.")); return; }
  fill(place, make("strong", { class: "bad" }, faults.length === 1 ? "✗ 1 fault" : `✗ ${faults.length} faults`),
    make("ul", null, faults.slice(0, 12).map((fault) => make("li", null,
      inputs.has(fault.key) ? make("button", { type: "button", onclick: () => goTo(fault.key) }, fault.key) : make("span", { class: "fault" }, `${fault.key}\n${lines(fault)}`)))));
}

export function goTo(key) {
  const input = inputs.get(key);
  for (let at = input.closest("details"); at; at = at.parentElement.closest("details")) at.open = true;
  input.focus();
}

export const faulty = () => faultsNow.length > 0;

export async function openText(text) {
  location.hash = "#joint";
  try {
    put(await post("/api/open", text || " "));
    say("Case opened.");
  } catch (error) {
    faultList(error.faults && error.faults.length ? error.faults : [{ key: "file", given: "", allowed: error.message, hint: "" }]);
    say(`The file was refused: ${error.message}`);
  }
}

export async function openFile(file) {
  if (file.size > 1e6) { faultList([{ key: "file", given: `${(file.size / 1e6).toFixed(1)} MB`, allowed: "a case file: TOML text in UTF-8, smaller than 1 MB", hint: "" }]); return; }
  await openText(await file.text());
}

export async function openResult(path) {
  try { await openText(await get(path)); } catch (error) { say(error.message); }
}

export async function start() {
  const told = await get("/api/form");
  tables = told.tables;
  more = make("textarea", { id: "more", rows: 6, spellcheck: "false", "aria-describedby": "more-help" });
  fill(byId("form"), tables.map(tableOf),
    make("details", { "data-fold": "" }, make("summary", null, "Alloys of your own, and whatever has no field"),
      make("div", { class: "field" }, make("label", { for: "more" }, "More of the case file, in TOML"), more,
        make("p", { class: "help", id: "more-help" }, "Tables such as [alloys.\"my steel\"]; an opened file's keys that no field takes stand here."))));
  byId("form").addEventListener("input", input);
  byId("form").addEventListener("submit", (event) => event.preventDefault());
  let kept = null;
  try { kept = JSON.parse(sessionStorage.getItem(KEPT)); } catch { /* nothing kept */ }
  await put(kept && kept.values ? kept : told);
}
