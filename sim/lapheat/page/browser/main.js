// Puts the page together: which part is shown, running, opening, light and dark.
import { byId, fill, make, say, verdict } from "./dom.js";
import { admitted, post } from "./api.js";
import * as form from "./form.js";
import { add, onChange, startQueue } from "./queue.js";

const VIEWS = ["joint", "answer", "choose", "runs"];
let latest = null;

async function route() {
  const [view, id] = location.hash.slice(1).split("/");
  const shown = VIEWS.includes(view) ? view : "joint";
  for (const name of VIEWS) byId(name).hidden = name !== shown;
  for (const link of document.querySelectorAll(".top nav a")) if (link.dataset.view === shown) link.setAttribute("aria-current", "page"); else link.removeAttribute("aria-current");
  if (shown === "answer") {
    const wanted = id || latest;
    if (wanted) { const { show } = await import("./answer.js"); await show(wanted); }
  }
  if (shown === "choose") { const { showChoices } = await import("./choose.js"); showChoices(); }
}

async function run() {
  if (form.faulty()) return;
  byId("run").disabled = true;
  try { latest = await add("run", form.content(), byId("converge").checked ? { converge: true } : {}); } catch (error) { say(error.message); }
  byId("run").disabled = form.faulty();
}

function brief(jobs) {
  const done = [...jobs].reverse().find((job) => job.kind === "run" && ["done", "failed"].includes(job.state));
  if (!done) return;
  latest = done.id;
  const [sign, word, kind] = done.state === "failed" ? ["✗", "Failed", "bad"] : verdict(done.works, done.undecided);
  fill(byId("latest"),
    make("p", { class: `verdict ${kind}` }, make("span", { class: "sign", "aria-hidden": "true" }, sign), make("strong", null, word)),
    make("p", null, done.summary),
    make("p", null, make("a", { href: `#answer/${done.id}` }, "Look at the whole answer")));
}

function theme() {
  const button = byId("theme"), dark = matchMedia("(prefers-color-scheme: dark)");
  const isDark = () => (document.documentElement.dataset.theme || (dark.matches ? "dark" : "light")) === "dark";
  const label = () => { button.textContent = isDark() ? "Light" : "Dark"; button.setAttribute("aria-label", isDark() ? "Switch to light" : "Switch to dark"); };
  button.addEventListener("click", () => {
    const next = isDark() ? "light" : "dark";
    document.documentElement.dataset.theme = next;
    localStorage.setItem("lapheat-theme", next);
    label();
    document.dispatchEvent(new Event("theme"));
  });
  dark.addEventListener("change", () => { label(); document.dispatchEvent(new Event("theme")); });
  label();
}

function files() {
  byId("open").addEventListener("click", () => byId("file").click());
  byId("file").addEventListener("change", (event) => { if (event.target.files[0]) form.openFile(event.target.files[0]); event.target.value = ""; });
  byId("save-case").addEventListener("click", async () => {
    try { handOver(await post("/api/text", form.content()), "case.toml"); } catch (error) { say(error.message); }
  });
  let deep = 0;
  const veil = byId("drop");
  addEventListener("dragenter", (event) => { if (event.dataTransfer.types.includes("Files")) { deep++; veil.hidden = false; } });
  addEventListener("dragleave", () => { deep = Math.max(0, deep - 1); if (!deep) veil.hidden = true; });
  addEventListener("dragover", (event) => event.preventDefault());
  addEventListener("drop", (event) => {
    event.preventDefault();
    deep = 0; veil.hidden = true;
    if (event.dataTransfer.files[0]) form.openFile(event.dataTransfer.files[0]);
  });
}

function handOver(text, name) {
  const link = make("a", { href: URL.createObjectURL(new Blob([text])), download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 1000);
}

addEventListener("hashchange", async () => {
  if (await admitted()) { location.reload(); return; } // the address of a new server, put into a tab of an old one
  route(); byId("main").focus({ preventScroll: true }); scrollTo(0, 0);
});
addEventListener("keydown", (event) => { if (event.key === "Enter" && (event.ctrlKey || event.metaKey)) run(); });
byId("run").addEventListener("click", run);
onChange(brief);
theme();
files();
try {
  await admitted();
  await Promise.all([form.start(), startQueue()]);
  await route();
  document.body.dataset.ready = "yes";
} catch (error) { fill(byId("form"), error.status === 403 ? "" : make("p", { class: "fault" }, error.message)); }
