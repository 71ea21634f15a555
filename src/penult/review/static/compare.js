// Two or more clips side by side, put on one clock at the take-off, moved through together, drawn at one scale.

import { frameNear, Motion, project } from "./geometry.js";
import { COLOURS, drawBody, drawFeet, drawGround, drawPath, Pen } from "./drawing.js";
import { Frames } from "./frames.js";
import { element, ink } from "./measures.js";
import { listen, load } from "./server.js";

/** @returns {any} an element that the page has, of whatever kind */
const $ = (id) => document.getElementById(id);
const DASHES = [[], [9, 5], [2, 4], [12, 4, 2, 4]];
const SHOWN_M = 3.4; // height of the runway's air that a picture shows
const ROWS = [
  "penultimate//penultimate_hip_drop_m",
  "penultimate//hip_drop_to_takeoff_m",
  "contacts/-1/contact_time_s",
  "contacts/0/contact_time_s",
  "steps/-1/step_length_m",
  "steps/0/step_length_m",
  "steps/0/step_length_ratio",
  "steps/0/flight_time_s",
  "contacts/0/leg_angle_touchdown_deg",
  "contacts/0/knee_angle_touchdown_deg",
  "contacts/0/knee_angle_min_deg",
  "takeoff//approach_speed_m_per_s",
  "takeoff//takeoff_velocity_x_m_per_s",
  "takeoff//takeoff_velocity_y_m_per_s",
  "takeoff//takeoff_angle_deg",
  "takeoff//speed_loss_percent",
  "takeoff//toe_to_board_m",
];

class Side {
  // One clip.
  constructor(data, number, desk) {
    this.data = data;
    this.number = number;
    this.desk = desk;
    this.motion = new Motion(data);
    this.frames = new Frames(number, data.clip.times.length, (index) => index === this.frame && this.draw());
    this.frame = data.first_frame;
    this.canvas = element("canvas", { role: "img", "data-clip": number });
    const { clip } = data;
    const facts = [clip.athlete, clip.kind, clip.direction === "left to right" ? "run →" : "← run"].filter(Boolean).join(", ");
    this.figure = element("figure", {}, element("figcaption", {}, element("b", {}, `${number + 1}: ${clip.file}`), element("span", { class: `mark dash${number % 4}`, "aria-hidden": "true" }), element("span", { class: "soft" }, facts)), this.canvas);
    new ResizeObserver(() => this.draw()).observe(this.canvas);
  }

  zero(end) {
    const contact = this.motion.contact(0) || this.data.contacts[this.data.contacts.length - 1];
    return contact ? contact.span_s[end] : 0;
  }

  show(time, stride) {
    // `time` in seconds from zero.
    const at = time + this.zero(this.desk.end);
    const frame = frameNear(this.data.clip.times, at);
    const way = frame >= this.frame ? stride : -stride;
    this.frame = frame;
    this.frames.want(frame, way);
    this.draw();
  }

  draw() {
    if (this.queued) return;
    this.queued = true;
    requestAnimationFrame(() => {
      this.queued = false;
      this.paint();
    });
  }

  paint() {
    const { canvas, motion, frame } = this;
    const picture = this.frames.get(frame);
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    const [w, h] = [canvas.clientWidth, canvas.clientHeight];
    if (!w || (!picture && this.shown >= 0)) return;
    canvas.width = Math.round(w * ratio);
    canvas.height = Math.round(h * ratio);
    const c = canvas.getContext("2d", { alpha: false });
    c.setTransform(ratio, 0, 0, ratio, 0, 0);
    c.fillStyle = "#1d2022";
    c.fillRect(0, 0, w, h);
    if (!picture) return;
    const { scale, left, top } = this.view(w, h);
    const [cw, ch] = this.data.clip.size;
    c.drawImage(picture, -left * scale, -top * scale, cw * scale, ch * scale);
    const row = motion.nearestRow(frame);
    const pen = new Pen(c, motion, row, ([x, y]) => [(x + 0.5 - left) * scale, (y + 0.5 - top) * scale], [w, h]);
    const time = this.data.clip.times[frame];
    const hip = motion.hipM(row);
    const middle = hip ? Math.round(hip[0]) : 0;
    if ($("layer-ground").checked) {
      drawGround(pen, [middle - 6, middle + 6], this.data.clip.has_line);
      drawFeet(pen, time);
    }
    if ($("layer-path").checked) drawPath(pen);
    if ($("layer-body").checked && motion.row(frame) >= 0) drawBody(pen, time);
    this.shown = frame;
    canvas.dataset.frame = String(frame);
    const offset = 1000 * (time - this.zero(this.desk.end));
    canvas.setAttribute("aria-label", `${this.data.clip.file}, frame ${frame}, ${offset.toFixed(0)} milliseconds from zero`);
  }

  view(w, h) {
    // The whole picture, or the athlete at the scale that all clips share.
    const [cw, ch] = this.data.clip.size;
    const fit = Math.min(w / cw, h / ch);
    const row = this.motion.nearestRow(this.frame);
    const hip = this.motion.hipM(row);
    const ends = hip && [0, 1].map((y) => project(this.motion.camera(row), [hip[0], y, 0]));
    if ($("whole").checked || !ends || !ends[0] || !ends[1]) return { scale: fit, left: cw / 2 - w / 2 / fit, top: ch / 2 - h / 2 / fit };
    const metre = Math.hypot(ends[1][0] - ends[0][0], ends[1][1] - ends[0][1]);
    const scale = h / (SHOWN_M * metre);
    return { scale, left: ends[0][0] - w / 2 / scale, top: ends[0][1] + 0.75 * metre - h / scale };
  }
}

class Desk {
  constructor() {
    this.sides = [];
    this.time = 0;
    this.end = 0;
    this.playing = null;
  }

  async open() {
    const first = await load(0);
    const rest = await Promise.all(Array.from({ length: first.clips - 1 }, (_, i) => load(i + 1)));
    this.sides = [first, ...rest].map((data, i) => new Side(data, i, this));
    $("pictures").replaceChildren(...this.sides.map((side) => side.figure));
    for (const side of this.sides) this.hands(side.canvas);
    this.hands($("strip"));
    new ResizeObserver(() => this.lanes()).observe($("strip"));
    this.table();
    this.align(0);
    listen(() => {}, () => {});
  }

  range() {
    const [low, high] = [[], []];
    for (const side of this.sides) {
      const { frames } = side.data.track;
      low.push(side.data.clip.times[frames[0]] - side.zero(this.end));
      high.push(side.data.clip.times[frames[frames.length - 1]] - side.zero(this.end));
    }
    return [Math.min(...low), Math.max(...high)];
  }

  step() {
    // The shortest frame interval among the clips.
    return Math.min(...this.sides.map(({ data }) => 1 / data.clip.rate));
  }

  align(end) {
    this.end = end;
    const [low, high] = this.range();
    $("time").min = String(Math.floor(1000 * low));
    $("time").max = String(Math.ceil(1000 * high));
    this.show(0);
  }

  show(time, stride = 1) {
    const [low, high] = this.range();
    this.time = Math.min(Math.max(time, low), high);
    const ms = 1000 * this.time;
    $("time").value = String(Math.round(ms));
    const text = `${ms < -0.05 ? "−" : ms > 0.05 ? "+" : ""}${Math.abs(ms).toFixed(1)} ms`;
    $("time-out").textContent = text;
    $("time").setAttribute("aria-valuetext", `${text} from ${this.end ? "take-off toe-off" : "take-off touchdown"}`);
    document.body.dataset.ms = ms.toFixed(2);
    for (const side of this.sides) side.show(this.time, stride);
    this.lanes();
  }

  stepInstant(way) {
    // To the next touchdown, lowest hip or toe-off of any clip.
    const instants = this.sides.flatMap((side) => side.data.contacts.flatMap((c) => [c.span_s[0], c.lowest_s, c.span_s[1]]
      .filter((time) => time !== null).map((time) => time - side.zero(this.end))));
    const margin = this.step() / 2;
    const next = instants.filter((t) => (way > 0 ? t > this.time + margin : t < this.time - margin));
    if (next.length) this.show(way > 0 ? Math.min(...next) : Math.max(...next));
  }

  hands(box) {
    box.addEventListener("pointerdown", (event) => {
      if (event.pointerType === "mouse" && event.button !== 0) return;
      this.stop();
      const from = { x: event.clientX, time: this.time };
      const isStrip = box.id === "strip";
      const left = box.getBoundingClientRect().left;
      const go = (e) => this.show(isStrip ? this.timeOf(e.clientX - left) : from.time + Math.round((e.clientX - from.x) / 5) * this.step());
      if (isStrip) go(event);
      const stop = () => {
        window.removeEventListener("pointermove", go);
        window.removeEventListener("pointerup", stop);
        window.removeEventListener("pointercancel", stop);
      };
      window.addEventListener("pointermove", go);
      window.addEventListener("pointerup", stop);
      window.addEventListener("pointercancel", stop);
    });
    box.addEventListener("wheel", (event) => {
      event.preventDefault();
      this.show(this.time + Math.sign(event.deltaY || event.deltaX) * this.step());
    }, { passive: false });
  }

  // The strip: a lane a clip on one clock, hip heights below on one scale --------------------------------------------

  x(time) {
    const [low, high] = this.range();
    return 60 + ((time - low) / (high - low)) * ($("strip").clientWidth - 72);
  }

  timeOf(x) {
    const [low, high] = this.range();
    return low + ((x - 60) / ($("strip").clientWidth - 72)) * (high - low);
  }

  lanes() {
    const box = $("strip");
    const lane = 20;
    box.style.height = `${120 + this.sides.length * (lane + 4)}px`;
    const canvas = $("lanes");
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    const [w, h] = [box.clientWidth, box.clientHeight];
    canvas.width = Math.round(w * ratio);
    canvas.height = Math.round(h * ratio);
    const c = canvas.getContext("2d");
    c.setTransform(ratio, 0, 0, ratio, 0, 0);
    const style = getComputedStyle(document.documentElement);
    const [inkColour, soft, rule] = ["--ink", "--soft", "--rule"].map((name) => style.getPropertyValue(name).trim());
    c.clearRect(0, 0, w, h);
    c.font = "11px system-ui, sans-serif";
    c.textBaseline = "middle";
    this.sides.forEach((side, i) => this.lane(c, side, 6 + i * (lane + 4), lane, inkColour, soft));
    const ground = 10 + this.sides.length * (lane + 4);
    c.fillStyle = COLOURS.track;
    c.fillRect(60, ground, w - 72, 3);
    const zero = this.x(0);
    c.strokeStyle = rule;
    c.lineWidth = 1;
    c.beginPath();
    c.moveTo(zero, 0);
    c.lineTo(zero, h);
    c.stroke();
    this.curves(c, ground + 16, h - 8, inkColour, soft);
    const now = this.x(this.time);
    c.fillStyle = inkColour;
    c.fillRect(now - 1, 0, 2, h);
  }

  lane(c, side, top, height, inkColour, soft) {
    c.fillStyle = soft;
    c.textAlign = "left";
    c.fillText(`${side.number + 1}`, 22, top + height / 2);
    const style = getComputedStyle(document.documentElement);
    const [bar, barText, bearing, bearingText] = ["--bar", "--bar-text", "--bearing", "--bearing-text"].map((name) => style.getPropertyValue(name).trim());
    for (const contact of side.data.contacts) {
      const [a, b] = contact.span_s.map((s) => this.x(s - side.zero(this.end)));
      const time = this.time + side.zero(this.end);
      const isNow = contact.span_s[0] <= time && time <= contact.span_s[1];
      c.fillStyle = isNow ? bearing : bar;
      c.fillRect(a, top, b - a, height);
      c.strokeStyle = contact.by_hand ? COLOURS.hand : bearing;
      c.lineWidth = contact.by_hand ? 3 : 1.5;
      c.strokeRect(a, top, b - a, height);
      c.fillStyle = isNow ? bearingText : barText;
      c.textAlign = "center";
      if (b - a > 14) c.fillText({ left: "L", right: "R" }[contact.told] || "?", (a + b) / 2, top + height / 2 + 1);
    }
    c.fillStyle = inkColour;
  }

  curves(c, top, bottom, inkColour, soft) {
    const all = this.sides.flatMap((side) => side.data.track.hip.map(([, y]) => y).filter((y) => y !== null));
    if (!all.length) return;
    const [low, high] = [Math.floor(Math.min(...all) * 20) / 20, Math.ceil(Math.max(...all) * 20) / 20];
    const y = (value) => bottom - ((value - low) / (high - low || 1)) * (bottom - top);
    c.fillStyle = soft;
    c.textAlign = "right";
    for (const value of [low, high]) c.fillText(`${Math.round(100 * value)} cm`, 55, y(value));
    c.strokeStyle = inkColour;
    c.lineWidth = 2;
    this.sides.forEach((side, i) => {
      c.setLineDash(DASHES[i % DASHES.length]);
      c.beginPath();
      let drawing = false;
      side.data.track.hip.forEach(([, value], row) => {
        const time = side.data.clip.times[side.data.track.frames[row]] - side.zero(this.end);
        if (value === null) drawing = false;
        else if (drawing) c.lineTo(this.x(time), y(value));
        else {
          c.moveTo(this.x(time), y(value));
          drawing = true;
        }
      });
      c.stroke();
    });
    c.setLineDash([]);
  }

  table() {
    const rowsOf = this.sides.map((side) => new Map(side.data.groups.flatMap((g) => g.rows).map((row) => [row.id, row])));
    const head = element("tr", {}, element("td", {}), ...this.sides.map((side) => element("th", { scope: "col" }, `${side.number + 1}: ${side.data.clip.file}`)));
    const body = ROWS.map((id) => {
      const rows = rowsOf.map((of) => of.get(id));
      const known = rows.find(Boolean);
      if (!known) return null;
      const cells = rows.map((row) => element("td", { title: row && row.reason ? row.reason : "" }, row ? row.text : "–", row && row.by_hand ? element("span", { class: "by-hand" }, " by hand") : null, row ? ink(row) : null));
      return element("tr", {}, element("th", { scope: "row", title: known.definition }, known.words), ...cells);
    });
    $("table").replaceChildren(element("caption", {}, "Numbers side by side"), element("thead", {}, head), element("tbody", {}, ...body.filter(Boolean)));
  }

  play() {
    if (this.playing) {
      this.stop();
      return;
    }
    if (this.time >= this.range()[1] - this.step()) this.show(this.range()[0]);
    this.playing = performance.now();
    $("play").textContent = "Stop";
    $("play").setAttribute("aria-pressed", "true");
    requestAnimationFrame(() => this.tick());
  }

  tick() {
    if (!this.playing) return;
    const now = performance.now();
    const speed = Number($("speed").value);
    const there = this.sides.every((side) => side.frames.get(side.frame));
    const on = there ? ((now - this.playing) / 1000) * speed : 0;
    this.playing = now;
    if (on) this.show(this.time + on, Math.max(1, Math.round(speed / 60 / this.step())));
    if (this.time >= this.range()[1]) this.stop();
    else requestAnimationFrame(() => this.tick());
  }

  stop() {
    this.playing = null;
    $("play").textContent = "Play";
    $("play").setAttribute("aria-pressed", "false");
  }
}

const desk = new Desk();
for (const id of ["layer-body", "layer-path", "layer-ground", "whole"]) $(id).addEventListener("change", () => desk.sides.forEach((side) => side.draw()));
for (const radio of /** @type {NodeListOf<HTMLInputElement>} */ (document.querySelectorAll('[name="align"]'))) radio.addEventListener("change", () => desk.align(Number(radio.value)));
$("time").addEventListener("input", () => desk.show(Number($("time").value) / 1000));
const acts = {
  "instant-back": () => desk.stepInstant(-1),
  "instant-on": () => desk.stepInstant(1),
  "frame-back": () => desk.show(desk.time - desk.step()),
  "frame-on": () => desk.show(desk.time + desk.step()),
  play: () => desk.play(),
};
for (const [id, act] of Object.entries(acts)) $(id).addEventListener("click", () => desk.sides.length && act());
document.addEventListener("keydown", (event) => {
  if (!desk.sides.length || event.ctrlKey || event.metaKey || event.altKey || /** @type {Element} */ (event.target).closest("input, select")) return;
  const keys = {
    ArrowLeft: event.shiftKey ? acts["frame-back"] : acts["instant-back"],
    ArrowRight: event.shiftKey ? acts["frame-on"] : acts["instant-on"],
    " ": acts.play,
  };
  const act = keys[event.key];
  if (!act || (event.key === " " && /** @type {Element} */ (event.target).closest("button"))) return;
  event.preventDefault();
  act();
});
desk.open().catch((error) => $("said").replaceChildren(element("div", { class: "fault" }, element("p", {}, error.message))));
