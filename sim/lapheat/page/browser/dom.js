// Small helpers: elements are made, never written as markup, so that every text stays text.
const SVG = "http://www.w3.org/2000/svg";

function filled(node, about, inside) {
  for (const [name, value] of Object.entries(about || {})) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (name in node && typeof value === "boolean") node[name] = value;
    else node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...inside.flat(9).filter((each) => each !== null && each !== undefined && each !== false));
  return node;
}

export const make = (tag, about, ...inside) => filled(document.createElement(tag), about, inside);
export const draw = (tag, about, ...inside) => filled(document.createElementNS(SVG, tag), about, inside);
export const byId = (id) => document.getElementById(id);

export function fill(node, ...inside) {
  node.replaceChildren(...inside.flat(9).filter((each) => each !== null && each !== undefined && each !== false));
  return node;
}

// A run's verdict as sign, words and class.
export function verdict(works, undecided) {
  if (undecided) return ["≈", "Too close to call", "near"];
  return works ? ["✓", "Works", "good"] : ["✗", "Does not work", "bad"];
}

let spoken = "";
export function say(text) {
  if (text === spoken) return;
  spoken = text;
  byId("live").textContent = text;
}

export const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();

// Lightness climbs steadily from end to end, so it also reads in grey.
const WARM = ["#1d1b3b", "#472a66", "#7f3573", "#b94563", "#e2643f", "#f4973a", "#fac95f", "#fdf6c9"]
  .map((hex) => [1, 3, 5].map((at) => parseInt(hex.slice(at, at + 2), 16)));

export function heat(share) {
  const at = Math.min(Math.max(share, 0), 1) * (WARM.length - 1);
  const low = Math.min(Math.floor(at), WARM.length - 2);
  return WARM[low].map((value, i) => Math.round(value + (at - low) * (WARM[low + 1][i] - value)));
}
export const HEAT = Array.from({ length: 256 }, (_, i) => `rgb(${heat(i / 255).join(",")})`);

// A canvas as sharp as the screen; returns its context, scaled to CSS pixels.
export function sharp(canvas, width, height) {
  const ratio = Math.min(window.devicePixelRatio || 1, 2);
  canvas.width = Math.round(width * ratio);
  canvas.height = Math.round(height * ratio);
  const pen = canvas.getContext("2d");
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.font = "12px system-ui, sans-serif";
  return pen;
}

export function ticks(low, high, most = 6) {
  const rough = (high - low) / most, power = 10 ** Math.floor(Math.log10(rough || 1));
  const step = [1, 2, 2.5, 5, 10].map((times) => times * power).find((each) => each >= rough);
  const found = [];
  for (let at = Math.ceil(low / step - 1e-9) * step; at <= high + step * 1e-6; at += step) found.push(+at.toPrecision(10));
  return found;
}
