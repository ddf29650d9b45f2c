// The part in three dimensions on a plain canvas: needs no graphics card, and turns by mouse or keys.
import { HEAT, colour, make, sharp } from "./dom.js";
import { raw } from "./api.js";

const HEIGHT = 420, DECI = 10, ZERO = 273.15;

export async function solid(place, job, view) {
  const told = view.solid_view, degree = view.unit.temperature;
  const frames = new Uint16Array(await (await raw(`/api/runs/${job.id}/frames`)).arrayBuffer());
  const size = told.parts.reduce((sum, part) => sum + part.rows * part.layers, 0), count = told.time.length;
  const shown = (deci) => { const celsius = deci / DECI - ZERO; return degree.includes("F") ? celsius * 1.8 + 32 : celsius; };
  const tops = frames.subarray(0, size);
  const low = tops.reduce((a, b) => Math.min(a, b), 65535), high = tops.reduce((a, b) => Math.max(a, b), 0);
  const cold = count ? frames.reduce((a, b) => Math.min(a, b), 65535) : low;
  let turn = 0.5, tilt = 0.62, zoom = 1, frame = 0, playing = null;

  const canvas = make("canvas", { role: "img", tabindex: 0, "aria-label": "The part in three dimensions. Arrow keys turn it, plus and minus zoom." });
  const words = make("p", { class: "readout" });
  const slider = make("input", { type: "range", min: 0, max: count, value: 0, "aria-label": "Time: peak first, then each moment" });
  const play = make("button", { type: "button" }, "Play");
  const key = (name, label, act) => make("button", { type: "button", "aria-label": label, onclick: () => { act(); paint(); } }, name);
  place.replaceChildren(canvas, words,
    make("div", { class: "row" }, key("⟲", "Turn left", () => { turn -= 0.3; }), key("⟳", "Turn right", () => { turn += 0.3; }), key("▲", "Look from higher", () => { tilt = Math.min(tilt + 0.15, 1.5); }), key("▼", "Look from lower", () => { tilt = Math.max(tilt - 0.15, 0.05); }), key("+", "Larger", () => { zoom *= 1.2; }), key("−", "Smaller", () => { zoom /= 1.2; }), count ? play : ""),
    count ? slider : "",
    make("figcaption", null, `The part: ${shown(cold).toFixed(0)} (dark) to ${shown(high).toFixed(0)} ${degree} (bright). The flange's face is drawn with the slope of the fillet.`));

  const reach = Math.max(...told.parts.flatMap((part) => part.r)), wide = () => 0.46 * zoom;
  function quads() {
    const [c, s, up, flat] = [Math.cos(turn), Math.sin(turn), Math.cos(tilt), Math.sin(tilt)];
    const list = [];
    let start = frame * size;
    const floor = frame ? cold : low;
    for (const part of told.parts) {
      const circle = Array.from({ length: part.layers + 1 }, (_, i) => { const a = 2 * Math.PI * i / part.layers; return [Math.cos(a) * c - Math.sin(a) * s, Math.sin(a) * c + Math.cos(a) * s]; });
      for (let row = 0; row < part.rows; row++) {
        const r0 = part.r[row], r1 = part.r[row + 1], z0 = part.z[row], z1 = part.z[row + 1];
        for (let layer = 0; layer < part.layers; layer++) {
          const [x0, y0] = circle[layer], [x1, y1] = circle[layer + 1];
          const p = [[x0 * r0, y0 * r0, z0], [x1 * r0, y1 * r0, z0], [x1 * r1, y1 * r1, z1], [x0 * r1, y0 * r1, z1]].map(([x, y, z]) => [x, y * flat - z * up, y * up + z * flat]);
          const value = frames[start + row * part.layers + layer];
          list.push([p, p[0][2] + p[1][2] + p[2][2] + p[3][2], HEAT[Math.round(255 * Math.max(0, value - floor) / (high - floor || 1))]]);
        }
      }
      start += part.rows * part.layers;
    }
    return list.sort((a, b) => a[1] - b[1]);
  }
  function paint() {
    if (!canvas.clientWidth) return;
    const width = canvas.clientWidth, pen = sharp(canvas, width, HEIGHT), scale = wide() * Math.min(width, HEIGHT * 1.3) / reach;
    pen.fillStyle = colour("field"); pen.fillRect(0, 0, width, HEIGHT);
    pen.translate(width / 2, HEIGHT * 0.6); pen.lineWidth = 0.7;
    for (const [p, , ink] of quads()) {
      pen.fillStyle = pen.strokeStyle = ink;
      pen.beginPath();
      for (const [x, y] of p) pen.lineTo(x * scale, y * scale);
      pen.closePath(); pen.fill(); pen.stroke();
    }
    const index = frame - 1;
    words.textContent = frame ? `${told.time[index].toFixed(1)} s, segment ${told.segment[index]}, ${told.current[index]} A` : "Peak of the whole run";
    slider.setAttribute("aria-valuetext", words.textContent);
  }
  const go = (to) => { frame = to; slider.value = to; paint(); };
  slider.addEventListener("input", () => go(+slider.value));
  play.addEventListener("click", () => {
    if (playing) { clearInterval(playing); playing = null; play.textContent = "Play"; return; }
    play.textContent = "Pause";
    playing = setInterval(() => { if (!canvas.isConnected) clearInterval(playing); else go(frame >= count ? 1 : frame + 1); }, 120);
  });
  canvas.addEventListener("pointerdown", (event) => {
    let [x, y] = [event.clientX, event.clientY];
    const move = (now) => { turn += (now.clientX - x) / 150; tilt = Math.min(Math.max(tilt + (now.clientY - y) / 200, 0.05), 1.5); [x, y] = [now.clientX, now.clientY]; paint(); };
    canvas.setPointerCapture(event.pointerId);
    canvas.addEventListener("pointermove", move);
    canvas.addEventListener("pointerup", () => canvas.removeEventListener("pointermove", move), { once: true });
    canvas.addEventListener("pointercancel", () => canvas.removeEventListener("pointermove", move), { once: true });
  });
  canvas.addEventListener("keydown", (event) => {
    const act = { ArrowLeft: () => { turn -= 0.15; }, ArrowRight: () => { turn += 0.15; }, ArrowUp: () => { tilt = Math.min(tilt + 0.1, 1.5); }, ArrowDown: () => { tilt = Math.max(tilt - 0.1, 0.05); }, "+": () => { zoom *= 1.15; }, "-": () => { zoom /= 1.15; } }[event.key];
    if (act) { event.preventDefault(); act(); paint(); }
  });
  new ResizeObserver(paint).observe(canvas);
  document.addEventListener("theme", () => canvas.isConnected && paint());
  paint();
}
