// The joint as it is being described: the whole of it, its corner, and the ring from above.
import { draw, make } from "./dom.js";

const SIZE = 240;
const near = (value) => +value.toPrecision(3);

function length(mm, unit) {
  return unit === "in" ? `${near(mm / 25.4)} in` : `${near(mm)} mm`;
}

function rect(x0, y0, x1, y1, kind) {
  return draw("rect", { x: Math.min(x0, x1), y: Math.min(y0, y1), width: Math.abs(x1 - x0), height: Math.abs(y1 - y0), class: kind });
}

// Screen from (r, z): `box` is [left, right, low, high] in mm.
function frame(box) {
  const scale = SIZE / Math.max(box[1] - box[0], box[3] - box[2]);
  const left = (SIZE - scale * (box[1] - box[0])) / 2, top = (SIZE - scale * (box[3] - box[2])) / 2;
  return { scale, x: (r) => left + scale * (r - box[0]), y: (z) => top + scale * (box[3] - z) };
}

function picture(label, caption, ...inside) {
  return make("figure", null,
    draw("svg", { viewBox: `0 0 ${SIZE} ${SIZE}`, role: "img", "aria-label": label }, ...inside),
    make("figcaption", null, caption));
}

function bodies(d, at, mirror) {
  const s = mirror ? -1 : 1;
  const inner = d.radius - d.wall;
  if (d.joint === "bead-on-tube") return [rect(at.x(s * inner), at.y(-d.length / 2), at.x(s * d.radius), at.y(d.length / 2), "steel cut")];
  const bore = d.radius + d.clearance;
  const parts = [
    rect(at.x(s * bore), at.y(-d.thickness), at.x(s * d.flange_radius), at.y(0), "flange cut"),
    rect(at.x(s * inner), at.y(-d.depth), at.x(s * d.radius), at.y(d.length), "steel cut"),
    draw("path", { class: "filler cut", d: `M${at.x(s * d.radius)} ${at.y(0)}V${at.y(d.leg)}L${at.x(s * (d.radius + d.leg))} ${at.y(0)}Z` }),
  ];
  if (d.chill) parts.push(rect(at.x(s * (inner - d.chill.wall)), at.y(-d.chill.length / 2), at.x(s * inner), at.y(d.chill.length / 2), "chill"));
  return parts;
}

function whole(d) {
  const bead = d.joint === "bead-on-tube";
  const reach = 1.06 * (bead ? d.radius : d.flange_radius);
  const high = bead ? d.length / 2 : d.length, low = bead ? -high : -Math.max(d.thickness, d.depth);
  const at = frame([-reach, reach, low - 0.08 * (high - low), high + 0.04 * (high - low)]);
  const text = bead ? "" : `, flange ${length(d.thickness, d.unit)} thick, ${length(2 * d.flange_radius, d.unit)} across`;
  const told = `Tube ${length(2 * d.radius, d.unit)} outside, wall ${length(d.wall, d.unit)}${text}`;
  return picture(`Section of the whole joint. ${told}`, told,
    bodies(d, at, false), bodies(d, at, true),
    draw("path", { class: "axis", d: `M${at.x(0)} 2V${SIZE - 2}` }));
}

function corner(d) {
  const bead = d.joint === "bead-on-tube";
  const leg = bead ? 2 * d.spot : d.leg;
  const wide = Math.max(4.4 * leg, d.wall + 3 * leg + Math.abs(d.aim) * 1.3, 6 * d.spot);
  const middle = [bead ? d.radius : d.radius + 0.32 * wide, bead ? 0 : 0.16 * wide];
  const at = frame([middle[0] - wide / 2, middle[0] + wide / 2, middle[1] - wide / 2, middle[1] + wide / 2]);
  const angle = (bead ? 0 : d.work_angle) * Math.PI / 180;
  const foot = bead ? [d.radius, 0] : [d.radius + d.aim, 0];
  const way = bead ? [1, 0] : [Math.cos(angle), Math.sin(angle)], side = [-way[1], way[0]];
  const point = (along, across) => `${at.x(foot[0] + along * way[0] + across * side[0])} ${at.y(foot[1] + along * way[1] + across * side[1])}`;
  const far = 2 * wide, spot = 2 * d.spot;
  const told = bead
    ? `Arc square to the wall, spot ${length(d.spot, d.unit)} (standard deviation)`
    : `Aim ${length(d.aim, d.unit)} from the tube, torch ${near(d.work_angle)} deg above the flange, leg ${length(d.leg, d.unit)}, spot ${length(d.spot, d.unit)}`;
  const clip = draw("clipPath", { id: "corner-clip" }, draw("rect", { x: 0, y: 0, width: SIZE, height: SIZE }));
  return picture(`Corner under the arc. ${told}`, told, clip,
    draw("g", { "clip-path": "url(#corner-clip)" },
      draw("path", { class: "beam", d: `M${point(-spot, -spot)}L${point(far, -spot)}L${point(far, spot)}L${point(-spot, spot)}Z` }),
      bodies(d, at, false),
      draw("path", { class: "torch", d: `M${point(0, 0)}L${point(far, 0)}` }),
      draw("circle", { class: "torch", cx: at.x(foot[0]), cy: at.y(foot[1]), r: 3 })));
}

export function ring(segments, count, label, caption, paint = () => "seg", tacks = []) {
  const middle = SIZE / 2, out = 96, inner = 62;
  const place = (deg, r) => { const a = deg * Math.PI / 180; return `${(middle + r * Math.sin(a)).toFixed(2)} ${(middle - r * Math.cos(a)).toFixed(2)}`; };
  const wedge = (from, to) => {
    const big = Math.abs(to - from) > 180 ? 1 : 0, turn = to > from ? 1 : 0;
    if (Math.abs(to - from) > 359.9) to = from + (to > from ? 359.9 : -359.9);
    return `M${place(from, out)}A${out} ${out} 0 ${big} ${turn} ${place(to, out)}L${place(to, inner)}A${inner} ${inner} 0 ${big} ${1 - turn} ${place(from, inner)}Z`;
  };
  const size = count > 40 ? 0 : count > 20 ? 7 : 10;
  const shapes = segments.map((each, index) => {
    const mid = (each.from + each.to) / 2;
    const [x, y] = place(mid, (out + inner) / 2).split(" "), [u, v] = place(mid, out + 11).split(" ");
    const look = paint(each);
    return draw("g", null,
      draw("path", { d: wedge(each.from, each.to), class: look.startsWith("rgb") ? "seg-hot" : look, fill: look.startsWith("rgb") ? look : null, stroke: "currentColor", "stroke-width": 0.7 }),
      size ? draw("text", { x, y: +y + 3, "text-anchor": "middle", "font-size": size, class: look.startsWith("rgb") ? "on-hot" : null }, String(each.number)) : null,
      size ? draw("text", { x: u, y: +v + 3, "text-anchor": "middle", class: "turn" }, `${index + 1}.`) : null);
  });
  return picture(label, caption, shapes,
    tacks.map((deg) => { const [x, y] = place(deg, inner - 5).split(" "); return draw("circle", { cx: x, cy: y, r: 3, class: "filler cut" }); }),
    draw("path", { class: "dim", d: `M${place(-24, 44)}A44 44 0 0 1 ${place(24, 44)}l-6 -4m6 4l-7 3` }),
    draw("text", { x: middle, y: middle - 22, "text-anchor": "middle" }, "growing angle"),
    draw("text", { x: middle, y: middle + 4, "text-anchor": "middle" }, "inside: number"),
    draw("text", { x: middle, y: middle + 17, "text-anchor": "middle" }, "outside: turn"));
}

export function drawing(d) {
  const order = d.segments.map((each) => each.number).join(", ");
  return [corner(d), ring(d.segments, d.count, `Ring from above: segments in the order ${order}`, `${d.segments.length} of ${d.count} segments, in the order ${order}`, () => "seg", d.tacks), whole(d)];
}
