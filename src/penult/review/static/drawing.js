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

const LEG = [["hip", "knee"], ["knee", "ankle"], ["ankle", "heel"], ["heel", "toe"], ["ankle", "toe"]];
const LEG_JOINTS = ["hip", "knee", "ankle", "heel", "toe"];
const SHOE_M = 0.27;

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
    const ends = [pen.at([contact.toe_x_m - SHOE_M, y, 0]), pen.at([contact.toe_x_m, y, 0])];
    const bears = time <= contact.span_s[1];
    pen.line(ends, contact.by_hand ? COLOURS.hand : bears ? COLOURS.support : COLOURS.ink, 6);
  }
}

export function drawMats(pen) {
  for (const contact of pen.motion.data.contacts) {
    if (!contact.mat_m || contact.toe_x_m === null) continue;
    const [x0, x1, h] = [contact.toe_x_m + 0.06, contact.toe_x_m + 0.22, contact.mat_m];
    const corners = [[x0, 0], [x1, 0], [x1, h], [x0, h]].map(([x, y]) => pen.at([x, y, 0]));
    pen.line(corners, COLOURS.mat, 3);
    if (corners[2]) pen.plate(`mat ${(100 * h).toFixed(0)} cm`, corners[2][0] + 6, corners[2][1] - 16, { size: 12 });
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
  for (const arm of ["left", "right"]) {
    const points = ["shoulder", "elbow", "wrist"].map((part) => pen.joint(`${arm}_${part}`));
    if (points.every(Boolean)) pen.line(points, COLOURS.body, 2);
  }
  const mid = (part) => {
    const [a, b] = [pen.joint(`left_${part}`), pen.joint(`right_${part}`)];
    return a && b ? [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2] : null;
  };
  pen.line([mid("hip"), mid("shoulder"), pen.joint("head")], COLOURS.body, 3);
  for (const of of side === "left" ? ["right", "left"] : ["left", "right"]) {
    const bears = of === side;
    for (const [a, b] of LEG) {
      const ends = [pen.joint(`${of}_${a}`), pen.joint(`${of}_${b}`)];
      if (ends.every(Boolean)) pen.line(ends, bears ? COLOURS.support : COLOURS.other, bears ? 3.5 : 2.5, { dash: bears ? [] : [8, 4] });
    }
    for (const part of LEG_JOINTS) pen.ring(pen.joint(`${of}_${part}`), bears ? 4 : 3.2, bears ? COLOURS.support : COLOURS.other);
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

// Measures, each drawn where it is. `look` says which: kind, contact, end, value; `text` is what the label says.
export function drawMeasure(pen, look, text) {
  const contact = pen.motion.contact(look.contact);
  const draw = MEASURES[look.kind];
  if (!contact || !draw) return;
  const anchor = draw(pen, contact, look);
  if (anchor) label(pen, text, anchor);
}

const deg = (a) => (a * Math.PI) / 180;

function arc(pen, centre, radius, from, to, colour) {
  const points = [];
  for (let i = 0; i <= 24; i += 1) {
    const turn = from + ((to - from) * i) / 24;
    points.push(pen.at([centre[0] + radius * Math.cos(turn), centre[1] + radius * Math.sin(turn), centre[2]]));
  }
  pen.line(points, colour, 3.5);
  pen.taken.push(...points.filter(Boolean));
  return points[12];
}

function guide(pen, a, b) {
  pen.line([pen.at(a), pen.at(b)], COLOURS.ink, 1.5, { dash: [7, 5] });
}

function length(pen, a, b) {
  // A measured length: a line with a bar across each end.
  if (!a || !b) return null;
  const along = Math.hypot(b[0] - a[0], b[1] - a[1]) || 1;
  const across = [(-(b[1] - a[1]) / along) * 8, ((b[0] - a[0]) / along) * 8];
  pen.line([a, b], COLOURS.ink, 3);
  for (const end of [a, b]) {
    pen.line([[end[0] - across[0], end[1] - across[1]], [end[0] + across[0], end[1] + across[1]]], COLOURS.ink, 3);
  }
  const mid = [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
  pen.taken.push(a, b, mid);
  return mid;
}

function arrow(pen, a, b, colour = COLOURS.ink) {
  if (!a || !b) return;
  const along = Math.hypot(b[0] - a[0], b[1] - a[1]) || 1;
  const u = [(b[0] - a[0]) / along, (b[1] - a[1]) / along];
  const h = 14;
  pen.line([a, b], colour, 4);
  pen.line(
    [[b[0] - h * (u[0] - 0.5 * u[1]), b[1] - h * (u[1] + 0.5 * u[0])], b, [b[0] - h * (u[0] + 0.5 * u[1]), b[1] - h * (u[1] - 0.5 * u[0])]],
    colour,
    4,
  );
  pen.taken.push(a, b);
}

function legParts(pen, contact) {
  const part = (name) => pen.motion.m(pen.row, `${contact.foot}_${name}`);
  return { hip: part("hip"), knee: part("knee"), ankle: part("ankle"), heel: part("heel"), toe: part("toe") };
}

const level = (pen, x, text) => {
  const at = pen.at([x, 0, 0]);
  return at && [at[0], at[1] + 44, text];
};

function upTo(pen, place, from) {
  if (!place) return null;
  return length(pen, pen.at([place[0], from, 0]), pen.at(place));
}

function between(pen, x0, x1, drop = 40) {
  const [a, b] = [level(pen, x0), level(pen, x1)];
  if (!a || !b) return null;
  const shift = drop - 44;
  return length(pen, [a[0], a[1] + shift], [b[0], b[1] + shift]);
}

const MEASURES = {
  knee(pen, contact) {
    const { hip, knee, ankle } = legParts(pen, contact);
    if (!hip || !knee || !ankle) return null;
    const up = Math.atan2(hip[1] - knee[1], hip[0] - knee[0]);
    const down = Math.atan2(ankle[1] - knee[1], ankle[0] - knee[0]);
    const turn = ((down - up + 3 * Math.PI) % (2 * Math.PI)) - Math.PI;
    return arc(pen, knee, 0.15, up, up + turn, COLOURS.support);
  },
  leg(pen, contact, look) {
    const { hip, ankle } = legParts(pen, contact);
    if (!hip || !ankle) return null;
    const flat = look.end === "touchdown" ? Math.PI : 0;
    guide(pen, ankle, hip);
    guide(pen, ankle, [ankle[0] + 0.5 * Math.cos(flat), ankle[1], ankle[2]]);
    return arc(pen, ankle, 0.34, flat, Math.atan2(hip[1] - ankle[1], hip[0] - ankle[0]), COLOURS.support);
  },
  trunk(pen) {
    const [hip, shoulder] = [pen.motion.middleM(pen.row, "hip"), pen.motion.middleM(pen.row, "shoulder")];
    if (!hip || !shoulder) return null;
    guide(pen, hip, [hip[0], hip[1] + 0.65, 0]);
    guide(pen, hip, shoulder);
    const lean = Math.atan2(shoulder[1] - hip[1], shoulder[0] - hip[0]);
    return arc(pen, hip, 0.56, Math.PI / 2, lean, COLOURS.body);
  },
  foot(pen, contact, look) {
    const { heel } = legParts(pen, contact);
    if (!heel) return null;
    const tilt = deg(look.value);
    guide(pen, heel, [heel[0] + 0.45 * Math.cos(tilt), heel[1] + 0.45 * Math.sin(tilt), heel[2]]);
    guide(pen, heel, [heel[0] + 0.45, heel[1], heel[2]]);
    return arc(pen, heel, 0.4, 0, tilt, COLOURS.support);
  },
  hip: (pen) => upTo(pen, pen.motion.middleM(pen.row, "hip"), 0),
  "hip-above": (pen, contact) => upTo(pen, pen.motion.middleM(pen.row, "hip"), contact.surface_m || 0),
  mass: (pen) => upTo(pen, pen.motion.massM(pen.row), 0),
  drop(pen, contact, look) {
    const hip = pen.motion.middleM(pen.row, "hip");
    if (!hip) return null;
    const x = hip[0] - 0.6;
    for (const y of [hip[1] + look.value, hip[1]]) guide(pen, [x - 0.15, y, 0], [hip[0] + 0.1, y, 0]);
    return length(pen, pen.at([x, hip[1] + look.value, 0]), pen.at([x, hip[1], 0]));
  },
  "drop-takeoff": (pen, contact, look) => MEASURES.drop(pen, contact, look),
  "ahead-hip": (pen, contact) => MEASURES.ahead(pen, contact, pen.motion.middleM(pen.row, "hip")),
  "ahead-mass": (pen, contact) => MEASURES.ahead(pen, contact, pen.motion.massM(pen.row)),
  ahead(pen, contact, from) {
    if (!from || contact.toe_x_m === null) return null;
    guide(pen, from, [from[0], 0, 0]);
    return between(pen, from[0], contact.toe_x_m);
  },
  toe(pen, contact) {
    return contact.toe_x_m === null ? null : between(pen, contact.toe_x_m, 0);
  },
  board: (pen, contact) => MEASURES.toe(pen, contact),
  step(pen, contact) {
    const before = pen.motion.contact(contact.number - 1);
    if (!before || before.toe_x_m === null || contact.toe_x_m === null) return null;
    return between(pen, before.toe_x_m, contact.toe_x_m);
  },
  surface(pen, contact) {
    if (contact.toe_x_m === null) return null;
    const x = contact.toe_x_m + 0.12;
    return length(pen, pen.at([x, 0, 0]), pen.at([x, contact.surface_m || 0, 0]));
  },
  support(pen, contact) {
    if (contact.toe_x_m === null) return null;
    const y = contact.mat_m || 0;
    const ends = [pen.at([contact.toe_x_m - SHOE_M, y, 0]), pen.at([contact.toe_x_m, y, 0])];
    pen.line(ends, COLOURS.support, 8);
    return ends[0] && ends[1] ? [(ends[0][0] + ends[1][0]) / 2, ends[0][1]] : null;
  },
  instant: (pen, contact) => MEASURES.support(pen, contact),
  "step-time": (pen, contact) => MEASURES.support(pen, contact),
  "foot-speed"(pen, contact) {
    const { ankle } = legParts(pen, contact);
    if (!ankle) return null;
    const before = pen.row > 4 ? pen.motion.m(pen.row - 4, `${contact.foot}_ankle`) : null;
    if (before) arrow(pen, pen.at(before), pen.at(ankle), COLOURS.support);
    return pen.at(ankle);
  },
  flight(pen, contact) {
    const before = pen.motion.contact(contact.number - 1);
    const { track, clip } = pen.motion.data;
    const points = [];
    track.frames.forEach((frame, row) => {
      const time = clip.times[frame];
      if (before && time >= before.span_s[1] && time <= contact.span_s[0]) {
        const place = pen.motion.massM(row) || pen.motion.hipM(row);
        if (place) points.push(pen.at(place));
      }
    });
    if (points.length < 2) return null;
    arrow(pen, points[0], points[points.length - 1]);
    return points[points.length >> 1];
  },
  approach: (pen) => MEASURES.flight(pen, pen.motion.contact(0) || { number: 0, span_s: [0, 0] }),
  velocity(pen, contact, look) {
    const centre = pen.motion.massM(pen.row) || pen.motion.hipM(pen.row);
    const angle = pen.motion.data.groups.flatMap((g) => g.rows).find((r) => r.id === "takeoff//takeoff_angle_deg");
    const rise = angle && angle.draw ? deg(angle.draw.value) : null;
    if (!centre || rise === null) return null;
    guide(pen, centre, [centre[0] + 0.85, centre[1], 0]);
    arrow(pen, pen.at(centre), pen.at([centre[0] + 0.9 * Math.cos(rise), centre[1] + 0.9 * Math.sin(rise), 0]));
    return arc(pen, centre, 0.6, 0, rise, COLOURS.ink);
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
