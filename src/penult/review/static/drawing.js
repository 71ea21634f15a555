// What is drawn over a picture: body, paths, runway, and each measure where it is. A `Pen` maps clip pixels to the canvas.

import { project } from "./geometry.js";

export const COLOURS = {
  support: "#D55E00",
  other: "#56B4E9",
  body: "#777777",
  track: "#009E73",
  mat: "#E69F00",
  hand: "#CC79A7",
  ink: "#111111",
  paper: "#FFFFFF",
};


export class Pen {
  constructor(context, motion, row, toCanvas, size) {
    this.c = context;
    this.motion = motion;
    this.row = row;
    this.camera = motion.camera(row);
    this.toCanvas = toCanvas;
    this.size = size;
    this.taken = []; // points that labels must not cover
  }

  at(place) {
    const px = project(this.camera, place);
    return px && this.toCanvas(px);
  }

  joint(name) {
    const px = this.motion.px(this.row, name);
    return px && this.toCanvas(px);
  }

  line(points, colour, width, { dash = [], edge = COLOURS.paper } = {}) {
    const seen = points.filter(Boolean);
    if (seen.length < 2) return;
    const { c } = this;
    c.lineCap = "butt";
    c.lineJoin = "round";
    for (const [stroke, extra] of [[edge, 2.5], [colour, 0]]) {
      if (!stroke) continue;
      c.strokeStyle = stroke;
      c.lineWidth = width + extra;
      c.setLineDash(stroke === edge ? [] : dash);
      c.beginPath();
      seen.forEach(([x, y], i) => (i ? c.lineTo(x, y) : c.moveTo(x, y)));
      c.stroke();
    }
    c.setLineDash([]);
  }

  ring(point, radius, colour, width = 2) {
    if (!point) return;
    const { c } = this;
    c.beginPath();
    c.arc(point[0], point[1], radius, 0, 2 * Math.PI);
    c.fillStyle = COLOURS.paper;
    c.fill();
    c.strokeStyle = colour;
    c.lineWidth = width;
    c.stroke();
  }

  plate(text, x, y, { size = 14, bold = false, align = "left", colour = COLOURS.ink } = {}) {
    const { c } = this;
    c.font = `${bold ? "600 " : ""}${size}px system-ui, sans-serif`;
    c.textBaseline = "top";
    c.textAlign = "left";
    const width = c.measureText(text).width;
    const left = align === "middle" ? x - width / 2 : align === "right" ? x - width : x;
    c.fillStyle = "rgba(255, 255, 255, 0.86)";
    c.fillRect(left - 4, y - 2, width + 8, size + 6);
    c.fillStyle = colour;
    c.fillText(text, left, y);
    return [left - 4, y - 2, width + 8, size + 6];
  }
}

export function drawGround(pen, xRange, hasLine) {
  const points = [];
  for (let i = 0; i <= 40; i += 1) points.push(pen.at([xRange[0] + ((xRange[1] - xRange[0]) * i) / 40, 0, 0]));
  pen.line(points, COLOURS.track, 3);
  const [a, b] = [pen.at([Math.round((xRange[0] + xRange[1]) / 2), 0, 0]), pen.at([Math.round((xRange[0] + xRange[1]) / 2) + 1, 0, 0])];
  const metre = a && b ? Math.abs(b[0] - a[0]) : 100;
  const every = metre > 48 ? 1 : metre > 24 ? 2 : 5;
  for (let x = Math.ceil(xRange[0]); x <= xRange[1]; x += 1) {
    const at = pen.at([x, 0, 0]);
    if (!at) continue;
    const isLine = x === 0;
    pen.line([at, [at[0], at[1] + (isLine ? 16 : 9)]], isLine ? COLOURS.ink : COLOURS.track, isLine ? 5 : 2);
    if (x % every) continue;
    const text = isLine && hasLine ? "line" : `${x} m`.replace("-", "−");
    pen.plate(text, at[0], at[1] + (isLine ? 19 : 12), { size: 12, align: "middle" });
  }
}

export function drawGrid(pen, xRange) {
  const { c } = pen;
  c.globalAlpha = 0.7;
  for (let x = Math.ceil(xRange[0]); x <= xRange[1]; x += 1) {
    const rise = [];
    for (let y = 0; y <= 2.001; y += 0.25) rise.push(pen.at([x, y, 0]));
    pen.line(rise, COLOURS.paper, 1, { edge: "rgba(0, 0, 0, 0.45)" });
  }
  for (const y of [1, 2]) {
    const along = [];
    for (let i = 0; i <= 24; i += 1) along.push(pen.at([xRange[0] + ((xRange[1] - xRange[0]) * i) / 24, y, 0]));
    pen.line(along, COLOURS.paper, 1, { edge: "rgba(0, 0, 0, 0.45)" });
  }
  c.globalAlpha = 1;
}

export function drawFeet(pen, time) {
  // A bar where each foot has stood so far.
  for (const contact of pen.motion.data.contacts) {
    if (contact.toe_x_m === null || time < contact.span_s[0]) continue;
    const y = contact.mat_m || 0;
    const ends = [pen.at([contact.toe_x_m - pen.motion.data.skeleton.shoe_m, y, 0]), pen.at([contact.toe_x_m, y, 0])];
    const bears = time <= contact.span_s[1];
    pen.line(ends, contact.by_hand ? COLOURS.hand : bears ? COLOURS.support : COLOURS.ink, 6);
  }
}

export function drawMats(pen) {
  for (const contact of pen.motion.data.contacts) {
    if (!contact.mat_m || contact.toe_x_m === null) continue;
    const [bracket] = pen.motion.data.drawings.mat;
    const corners = pointsOf(pen, bracket, contact, contact.mat_m);
    if (!corners) continue;
    const [x, y] = DRAW.path(pen, bracket, corners);
    pen.plate(`mat ${(100 * contact.mat_m).toFixed(0)} cm`, x + 6, y - 16, { size: 12 });
  }
}

export function drawPath(pen) {
  const { track } = pen.motion.data;
  const points = [];
  for (let row = 0; row < track.hip.length; row += 2) {
    const place = pen.motion.hipM(row);
    points.push(place && pen.at(place));
  }
  pen.line(points, COLOURS.ink, 2);
  const here = pen.motion.hipM(pen.row);
  if (here) pen.ring(pen.at(here), 5, COLOURS.ink, 2.5);
}

export function drawBody(pen, time) {
  const leg = pen.motion.legInQuestion(time);
  const side = leg ? leg.foot : null;
  const { arm_parts, leg_bones, leg_joints } = pen.motion.data.skeleton;
  for (const arm of ["left", "right"]) {
    const points = arm_parts.map((part) => pen.joint(`${arm}_${part}`));
    if (points.every(Boolean)) pen.line(points, COLOURS.body, 2);
  }
  const mid = (part) => {
    const [a, b] = [pen.joint(`left_${part}`), pen.joint(`right_${part}`)];
    return a && b ? [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2] : null;
  };
  pen.line([mid("hip"), mid("shoulder"), pen.joint("head")], COLOURS.body, 3);
  for (const of of side === "left" ? ["right", "left"] : ["left", "right"]) {
    const bears = of === side;
    for (const [a, b] of leg_bones) {
      const ends = [pen.joint(`${of}_${a}`), pen.joint(`${of}_${b}`)];
      if (ends.every(Boolean)) pen.line(ends, bears ? COLOURS.support : COLOURS.other, bears ? 3.5 : 2.5, { dash: bears ? [] : [8, 4] });
    }
    for (const part of leg_joints) pen.ring(pen.joint(`${of}_${part}`), bears ? 4 : 3.2, bears ? COLOURS.support : COLOURS.other);
    const knee = pen.joint(`${of}_knee`);
    if (knee) pen.taken.push(knee);
  }
  for (const name of pen.motion.joints.keys()) {
    const px = pen.joint(name);
    if (px) pen.taken.push(px);
  }
}

export function drawJoints(pen, chosen, hot) {
  // All joints as things to take hold of.
  for (const name of pen.motion.joints.keys()) {
    const px = pen.joint(name);
    if (!px) continue;
    const isChosen = name === chosen;
    pen.ring(px, isChosen ? 8 : 5, isChosen || name === hot ? COLOURS.hand : COLOURS.ink, isChosen ? 4 : 2);
  }
  const px = chosen && pen.joint(chosen);
  if (px) pen.plate(chosen.replace("_", " "), px[0] + 14, px[1] - 24, { bold: true });
}

// Measures, each drawn where it is. `look` says which: kind, contact, value; `text` is what the label says. The shapes come with
// the page's data (`drawings`), the same that stills and film are drawn from.
export function drawMeasure(pen, look, text) {
  const contact = pen.motion.contact(look.contact);
  const drawing = pen.motion.data.drawings[look.kind];
  if (!contact || !drawing) return;
  const lines = drawing.map((shape) => pointsOf(pen, shape, contact, look.value));
  if (lines.some((line) => line === null)) return;
  const anchors = drawing.map((shape, i) => DRAW[shape.shape](pen, shape, lines[i]));
  label(pen, text, anchors[anchors.length - 1]);
}

const deg = (a) => (a * Math.PI) / 180;
const ARC_POINTS = 33;

function takeoffAngle(pen) {
  const row = pen.motion.data.groups.flatMap((g) => g.rows).find((r) => r.id === "takeoff//takeoff_angle_deg");
  return row && row.draw ? row.draw.value : null;
}

function flightEnd(pen, contact, which) {
  // The centre of mass at either end of the flight before a contact.
  const before = pen.motion.contact(contact.number - 1);
  if (!before) return null;
  const { track, clip } = pen.motion.data;
  const rows = track.frames.map((frame, row) => [clip.times[frame], row]).filter(([time]) => time >= before.span_s[1] && time <= contact.span_s[0]);
  const places = rows.map(([, row]) => pen.motion.massM(row) || pen.motion.hipM(row)).filter(Boolean);
  if (places.length < 2) return null;
  return which === "flight_start" ? places[0] : places[places.length - 1];
}

const NAMED = {
  mid_hip: (pen) => pen.motion.hipM(pen.row),
  mid_shoulder: (pen) => pen.motion.middleM(pen.row, "shoulder"),
  mass_centre: (pen) => pen.motion.massM(pen.row) || pen.motion.hipM(pen.row),
  toe_mark: (pen, contact) => (contact.toe_x_m === null ? null : [contact.toe_x_m, 0, 0]),
  toe_mark_before: (pen, contact) => NAMED.toe_mark(pen, pen.motion.contact(contact.number - 1) || { toe_x_m: null }),
  line: () => [0, 0, 0],
  ankle_before: (pen, contact) => (pen.row > 4 ? pen.motion.m(pen.row - 4, `${contact.foot}_ankle`) : null),
  flight_start: (pen, contact) => flightEnd(pen, contact, "flight_start"),
  flight_end: (pen, contact) => flightEnd(pen, contact, "flight_end"),
};

function named(pen, contact, name) {
  return NAMED[name] ? NAMED[name](pen, contact) : pen.motion.m(pen.row, `${contact.foot}_${name}`);
}

function angleOf(pen, angle, at, contact, value) {
  // Degrees; a number, the measure's own value, the take-off angle, or towards a named place.
  if (typeof angle === "number") return angle;
  if (angle === "value") return value;
  if (angle === "takeoff_angle") return takeoffAngle(pen);
  const to = named(pen, contact, angle);
  return to && (Math.atan2(to[1] - at[1], to[0] - at[0]) * 180) / Math.PI;
}

function placeOf(pen, place, contact, value) {
  let at = named(pen, contact, place.of);
  if (!at) return null;
  if (place.level) at = [at[0], place.level === "surface" ? contact.surface_m || 0 : 0, 0];
  const turn = angleOf(pen, place.turn, at, contact, value);
  if (turn === null) return null;
  const along = [place.reach_m * Math.cos(deg(turn)), place.reach_m * Math.sin(deg(turn))];
  return [0, 1].map((i) => at[i] + place.plus_m[i] + value * place.value[i] + along[i]).concat(at[2]);
}

export function pointsOf(pen, shape, contact, value) {
  // The canvas points that a shape goes through; null where what it needs is not seen.
  let places;
  if (shape.shape === "arc") {
    const about = placeOf(pen, shape.about, contact, value);
    const [start, end] = about ? [shape.start, shape.end].map((a) => angleOf(pen, a, about, contact, value)) : [null, null];
    if (!about || start === null || end === null) return null;
    const sweep = ((((end - start + 180) % 360) + 360) % 360) - 180;
    places = Array.from({ length: ARC_POINTS }, (_, i) => {
      const turn = deg(start + (sweep * i) / (ARC_POINTS - 1));
      return [about[0] + shape.radius_m * Math.cos(turn), about[1] + shape.radius_m * Math.sin(turn), about[2]];
    });
  } else {
    places = (shape.shape === "path" ? shape.places : [shape.start, shape.end]).map((p) => placeOf(pen, p, contact, value));
  }
  const points = places.map((place) => place && pen.at(place));
  return points.every(Boolean) ? points : null;
}

const share = (a, b, of) => [a[0] + of * (b[0] - a[0]), a[1] + of * (b[1] - a[1])];

const DRAW = {
  guide(pen, shape, points) {
    pen.line(points, COLOURS.ink, 1.5, { dash: [7, 5] });
    return share(points[0], points[1], 0.5);
  },
  arc(pen, shape, points) {
    pen.line(points, COLOURS[shape.colour], 3.5);
    pen.taken.push(...points);
    return points[points.length >> 1];
  },
  length(pen, shape, points) {
    // A line with a bar across each end.
    const [a, b] = points.map(([x, y]) => [x, y + shape.below_px]);
    const along = Math.hypot(b[0] - a[0], b[1] - a[1]) || 1;
    const across = [(-(b[1] - a[1]) / along) * 8, ((b[0] - a[0]) / along) * 8];
    pen.line([a, b], COLOURS.ink, 3);
    for (const end of [a, b]) {
      pen.line([[end[0] - across[0], end[1] - across[1]], [end[0] + across[0], end[1] + across[1]]], COLOURS.ink, 3);
    }
    const middle = share(a, b, shape.label);
    pen.taken.push(a, b, middle);
    return middle;
  },
  arrow(pen, shape, [a, b]) {
    const along = Math.hypot(b[0] - a[0], b[1] - a[1]) || 1;
    const u = [(b[0] - a[0]) / along, (b[1] - a[1]) / along];
    const h = 14;
    const sides = [-1, 1].map((s) => [b[0] - h * (u[0] + 0.5 * s * u[1]), b[1] - h * (u[1] - 0.5 * s * u[0])]);
    pen.line([a, b], COLOURS[shape.colour], 4);
    pen.line([sides[0], b, sides[1]], COLOURS[shape.colour], 4);
    pen.taken.push(a, b);
    return share(a, b, shape.label);
  },
  path(pen, shape, points) {
    pen.line(points, COLOURS[shape.colour], shape.colour === "support" ? 8 : 3);
    return points[shape.label];
  },
};

function label(pen, text, anchor) {
  // In free space with a thin leader, never over a joint.
  const { c } = pen;
  c.font = "600 16px system-ui, sans-serif";
  const width = c.measureText(text).width + 12;
  const height = 26;
  let best = null;
  for (const reach of [70, 110, 160, 220]) {
    for (const turn of [-30, -150, 30, 150, -75, -105, 75, 105, 0, 180]) {
      const x = anchor[0] + reach * Math.cos(deg(turn)) - width / 2;
      const y = anchor[1] + reach * Math.sin(deg(turn)) - height / 2;
      const inside = x >= 4 && y >= 4 && x + width <= pen.size[0] - 4 && y + height <= pen.size[1] - 4;
      if (!inside) continue;
      const covered = pen.taken.filter(([px, py]) => px > x - 14 && px < x + width + 14 && py > y - 14 && py < y + height + 14).length;
      if (!best || covered < best.covered) best = { covered, x, y };
    }
    if (best && best.covered === 0) break;
  }
  if (!best) best = { x: Math.min(Math.max(anchor[0], 4), pen.size[0] - width - 4), y: Math.min(Math.max(anchor[1] - 40, 4), pen.size[1] - height - 4) };
  const to = [Math.min(Math.max(anchor[0], best.x), best.x + width), Math.min(Math.max(anchor[1], best.y), best.y + height)];
  pen.line([anchor, to], COLOURS.ink, 1.5);
  c.fillStyle = COLOURS.paper;
  c.fillRect(best.x, best.y, width, height);
  c.strokeStyle = COLOURS.ink;
  c.lineWidth = 1.5;
  c.strokeRect(best.x, best.y, width, height);
  c.fillStyle = COLOURS.ink;
  c.textAlign = "left";
  c.textBaseline = "middle";
  c.fillText(text, best.x + 6, best.y + height / 2 + 1);
}
