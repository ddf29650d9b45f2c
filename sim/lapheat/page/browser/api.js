// What the page asks its server, and the secret it asks with.
const KEPT = "lapheat-token";

// The secret comes behind the "#" of the address, which browsers send to nobody. It is kept for this
// host and port alone, and sent in a header: a cookie would also go to other servers of this machine.
// A link of a stranger may bring a wrong one: only a secret that the server knows is kept.
export async function admitted() {
  const given = new URLSearchParams(location.hash.slice(1)).get("token");
  if (given === null) return false;
  history.replaceState(null, "", "/");
  const known = (await asked("/api/runs?version=none", given)).ok;
  if (known) localStorage.setItem(KEPT, given);
  return known;
}

addEventListener("storage", (event) => { if (event.key === KEPT) location.reload(); }); // another tab has a new one

export class Refused extends Error {
  constructor(status, told) {
    super(typeof told === "string" ? told : `${told.faults.length} faults`);
    this.status = status;
    this.faults = told.faults || [];
  }
}

const asked = (path, token, about = {}) => fetch(path, { ...about, headers: { ...about.headers, authorization: `Bearer ${token}` } });
export const raw = (path, about) => asked(path, localStorage.getItem(KEPT) || "", about);

async function answer(response) {
  const json = (response.headers.get("content-type") || "").startsWith("application/json");
  const told = json ? await response.json() : await response.text();
  if (!response.ok) throw new Refused(response.status, told);
  return told;
}

export const get = async (path) => answer(await raw(path));
export const post = async (path, body) => answer(await raw(path, {
  method: "POST",
  body: typeof body === "string" ? body : JSON.stringify(body || {}),
  headers: { "content-type": typeof body === "string" ? "text/plain" : "application/json" },
}));

// Addresses of a job's files: links and pictures send no header, so a pass for this job stands in them.
let passes = {};
export const remember = (id, pass) => { passes[id] = pass; };
export const linkOf = (id, name, save = false) => `/api/runs/${id}/files/${name}?${save ? "save&" : ""}pass=${passes[id]}`;
