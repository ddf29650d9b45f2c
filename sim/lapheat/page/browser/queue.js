// Runs: those that wait or are at work, and all that were made.
import { byId, fill, make, say, verdict } from "./dom.js";
import { get, post } from "./api.js";

let version = -1, jobs = [], progress = {};
const known = new Map(); // id to the state last seen, for what is spoken
const watchers = [];
const ticked = new Set();
export const NAMES = { run: "Run", explain: "Explain", find: "Find", window: "Window", risk: "Risk", sequences: "Orders", calibrate: "Calibrate", compare: "Compare" };
export const onChange = (watcher) => watchers.push(watcher);
export const all = () => jobs;

export function standing(job) {
  if (job.state === "waiting") return make("span", null, "○ waits");
  if (job.state === "running") return make("span", null, "▶ at work");
  if (job.state === "stopped") return make("span", null, "■ stopped");
  if (job.state === "failed") return make("span", { class: "bad" }, "✗ failed");
  if (job.works === null) return make("span", null, "✓ done");
  if (job.kind === "find") return make("span", { class: job.works ? "good" : "bad" }, job.works ? "✓ found" : "✗ nothing passed");
  const [sign, word, kind] = verdict(job.works, job.undecided);
  return make("span", { class: kind }, `${sign} ${word.toLowerCase()}`);
}

const minutes = (s) => s > 90 ? `${Math.round(s / 60)} min` : `${Math.ceil(s)} s`;

function told() {
  const left = progress.left_s !== null && progress.left_s !== undefined ? `, ${minutes(progress.left_s)} left` : "";
  return `${progress.text || "starting"}${left}`;
}

let spokenAt = 0, spokenSegment = "";
function speak(job) {
  const segment = (progress.text || "").split(",")[0];
  if (segment !== spokenSegment && Date.now() - spokenAt > 5000) {
    spokenSegment = segment; spokenAt = Date.now();
    say(`${NAMES[job.kind]}: ${told()}`);
  }
}

const rows = new Map(); // live rows are kept, so that focus stays on their buttons
function liveRow(job) {
  let row = rows.get(job.id);
  if (!row) {
    const bar = make("progress", { max: 1, "aria-label": `Progress of ${job.title}` }), what = make("p", { class: "what" });
    const stop = make("button", { type: "button", onclick: () => post(`/api/runs/${job.id}/stop`).then(poll) }, "Stop");
    const name = make("span");
    row = { node: make("div", { class: "job", "data-id": job.id }, make("div", { class: "row" }, name, make("span", { class: "push" }), stop), bar, what), bar, what, name };
    rows.set(job.id, row);
  }
  fill(row.name, `${NAMES[job.kind]}: ${job.title} `, standing(job));
  const running = job.state === "running";
  row.bar.hidden = !running;
  row.what.hidden = !running;
  if (running) {
    if (progress.share === null || progress.share === undefined) row.bar.removeAttribute("value"); else row.bar.value = progress.share;
    row.what.textContent = told();
    speak(job);
  }
  return row.node;
}

function live() {
  const open = jobs.filter((job) => job.state === "running" || job.state === "waiting");
  for (const id of [...rows.keys()]) if (!open.some((job) => job.id === id)) { rows.get(id).node.remove(); rows.delete(id); }
  const place = byId("queue");
  open.forEach((job, index) => { const node = liveRow(job); if (place.children[index] !== node) place.insertBefore(node, place.children[index] || null); });
  place.querySelector(".idle")?.remove();
  if (!open.length) place.append(make("p", { class: "help idle" }, "Nothing is at work."));
}

const when = (seconds) => new Date(seconds * 1000).toLocaleString(undefined, { dateStyle: "short", timeStyle: "medium" });

function table() {
  const place = byId("runs-body");
  if (!jobs.length) { fill(place, make("p", null, "No runs yet.")); return; }
  const focus = document.activeElement?.dataset?.focus;
  fill(place, make("table", null,
    make("thead", null, make("tr", null, ["Tick", "When", "What", "State", "Case and answer", ""].map((text) => make("th", { scope: "col", class: "tight" }, text || make("span", { class: "unseen" }, "Actions"))))),
    make("tbody", null, [...jobs].reverse().map((job) => make("tr", null,
      make("td", null, job.kind === "run" && job.state === "done" ? make("input", { type: "checkbox", "data-focus": `t${job.id}`, "aria-label": `Compare ${job.title}, ${when(job.made)}`, checked: ticked.has(job.id), onchange: (event) => { if (event.target.checked) ticked.add(job.id); else ticked.delete(job.id); tick(); } }) : ""),
      make("td", { class: "tight" }, when(job.made)), make("td", { class: "tight" }, NAMES[job.kind]), make("td", { class: "tight" }, standing(job)),
      make("td", { class: "broad" }, job.state === "waiting" || job.state === "running" ? job.title : make("a", { href: `#answer/${job.id}`, "data-focus": `a${job.id}` }, job.title), make("p", { class: "help" }, job.summary.length > 220 ? `${job.summary.slice(0, 220)} …` : job.summary)),
      make("td", { class: "tight" }, job.state === "waiting" || job.state === "running"
        ? make("button", { type: "button", "data-focus": `s${job.id}`, onclick: () => post(`/api/runs/${job.id}/stop`).then(poll) }, "Stop")
        : make("button", { type: "button", "data-focus": `r${job.id}`, "aria-label": `Remove ${job.title}, ${when(job.made)}`, onclick: () => post(`/api/runs/${job.id}/remove`).then(poll) }, "Remove")))))));
  if (focus) place.querySelector(`[data-focus="${focus}"]`)?.focus();
}

function tick() {
  for (const id of [...ticked]) if (!jobs.some((job) => job.id === id)) ticked.delete(id);
  byId("compare").disabled = ticked.size < 2;
}

let polling = null;
export async function poll() {
  clearTimeout(polling);
  let wait = 2500;
  try {
    const answer = await get(`/api/runs?version=${version}`);
    progress = answer.progress;
    if (answer.runs) {
      version = answer.version;
      jobs = answer.runs;
      for (const job of jobs) {
        const before = known.get(job.id);
        if (before && before !== job.state && !["waiting", "running"].includes(job.state)) say(`${NAMES[job.kind]} of ${job.title}: ${job.state}. ${job.summary}`);
        known.set(job.id, job.state);
      }
      table(); tick();
      for (const watcher of watchers) watcher(jobs);
    }
    live();
    if (jobs.some((job) => job.state === "running" || job.state === "waiting")) wait = 400;
    byId("away").hidden = true;
  } catch (error) {
    const text = error.status === 403 ? error.message : "Lapheat does not answer. Start lapheat page again and open the address that it shows: runs and settings are kept.";
    fill(byId("away"), text);
    byId("away").hidden = false;
    version = -1;
  }
  polling = setTimeout(poll, document.hidden ? 4 * wait : wait);
}

export async function add(kind, content, options, measured) {
  const body = { kind, ...content, options: options || {} };
  if (measured !== undefined) body.measured = measured;
  const { id } = await post(kind === "calibrate" ? "/api/calibrate" : "/api/runs", body);
  known.set(id, "waiting");
  say(`${NAMES[kind]} is in the queue.`);
  await poll();
  return id;
}

export function startQueue() {
  byId("compare").addEventListener("click", async () => {
    const runs = jobs.filter((job) => ticked.has(job.id)).map((job) => job.id);
    const id = await add("compare", {}, { runs });
    location.hash = `#answer/${id}`;
  });
  document.addEventListener("visibilitychange", () => { if (!document.hidden) poll(); });
  return poll();
}
