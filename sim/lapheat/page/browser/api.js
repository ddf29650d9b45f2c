// What the page asks its server.
export class Refused extends Error {
  constructor(status, told) {
    super(typeof told === "string" ? told : `${told.faults.length} faults`);
    this.status = status;
    this.faults = told.faults || [];
  }
}

async function answer(response) {
  const json = (response.headers.get("content-type") || "").startsWith("application/json");
  const told = json ? await response.json() : await response.text();
  if (!response.ok) throw new Refused(response.status, told);
  return told;
}

export const get = async (path) => answer(await fetch(path));
export const post = async (path, body) => answer(await fetch(path, {
  method: "POST",
  body: typeof body === "string" ? body : JSON.stringify(body || {}),
  headers: { "content-type": typeof body === "string" ? "text/plain" : "application/json" },
}));
export const raw = (path) => fetch(path);
