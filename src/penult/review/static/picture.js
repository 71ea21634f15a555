// The picture with its layers: shows a frame, is zoomed and moved, and gives joints to take hold of.

import { clamp, project } from "./geometry.js";
import { drawBody, drawFeet, drawGrid, drawGround, drawJoints, drawMats, drawMeasure, drawPath, Pen } from "./drawing.js";

const SCRUB_PX = 5; // of dragging a frame
const GRAB_PX = 22;
const MOST_ZOOM = 12;

export class Picture {
  // `desk` answers: frame, data, motion, frames, layers, mode, look, joint, drags; and takes: step, choose, drop, pick.
  constructor(canvas, desk) {
    this.canvas = canvas;
    this.desk = desk;
    this.zoom = 1;
    this.centre = null; // clip pixel in the middle of the canvas
    this.hot = null;
    this.dragged = null;
    this.pointers = new Map();
    this.shown = -1;
    this.follows = "whole";
    this.queued = false;
    new ResizeObserver(() => this.draw()).observe(canvas);
    for (const name of ["pointerdown", "pointermove", "pointerup", "pointercancel", "wheel"]) {
      canvas.addEventListener(name, (event) => this[name](event), { passive: false });
    }
    canvas.addEventListener("pointerleave", () => {
      this.hot = null;
      this.draw();
    });
  }

  // Mapping -------------------------------------------------------------------------------------------------------

  fit() {
    const [w, h] = this.desk.data.clip.size;
    return Math.min(this.canvas.clientWidth / w, this.canvas.clientHeight / h) || 1;
  }

  view() {
    const [w, h] = this.desk.data.clip.size;
    const scale = this.fit() * this.zoom;
    const [cw, ch] = [this.canvas.clientWidth, this.canvas.clientHeight];
    let [x, y] = this.centre && this.zoom > 1 ? this.centre : [w / 2, h / 2];
    const [halfW, halfH] = [cw / 2 / scale, ch / 2 / scale];
    x = halfW * 2 >= w ? w / 2 : clamp(x, halfW, w - halfW);
    y = halfH * 2 >= h ? h / 2 : clamp(y, halfH, h - halfH);
    return { scale, left: x - halfW, top: y - halfH };
  }

  toCanvas(view) {
    return ([x, y]) => [(x + 0.5 - view.left) * view.scale, (y + 0.5 - view.top) * view.scale];
  }

  toClip(event) {
    const box = this.canvas.getBoundingClientRect();
    const view = this.view();
    return [(event.clientX - box.left) / view.scale + view.left - 0.5, (event.clientY - box.top) / view.scale + view.top - 0.5];
  }

  setZoom(zoom, at = null, follows = "") {
    this.zoom = clamp(zoom, 1, MOST_ZOOM);
    if (at) this.centre = at;
    else if (this.zoom > 1 && !this.centre) this.centre = this.desk.data.clip.size.map((v) => v / 2);
    this.follows = follows || (this.zoom <= 1.01 ? "whole" : "");
    this.canvas.dataset.zoomed = String(this.zoom > 1.01);
    this.canvas.dataset.follows = this.follows;
    this.desk.resized(this.follows);
    this.draw();
  }

  lookAtAll() {
    this.setZoom(1);
  }

  lookAtBody() {
    // The whole athlete with room for what is drawn, wherever they run.
    const place = this.bodyPlace();
    if (place) this.setZoom(place.zoom, place.at, "body");
    return Boolean(place);
  }

  bodyPlace() {
    const { motion, frame } = this.desk;
    const row = motion.nearestRow(frame);
    const hip = motion.hipM(row);
    const ends = hip && [-0.55, 2.3].map((y) => project(motion.camera(row), [hip[0], y, 0]));
    if (!ends || !ends[0] || !ends[1]) return null;
    const height = Math.abs(ends[0][1] - ends[1][1]);
    return { zoom: this.canvas.clientHeight / (this.fit() * height), at: [ends[0][0], (ends[0][1] + ends[1][1]) / 2] };
  }

  lookAtFoot(contact) {
    // The shoe of a contact and its surroundings, large enough to see whether it bears.
    const { motion, frame } = this.desk;
    const camera = motion.camera(motion.nearestRow(frame));
    const x = contact && contact.toe_x_m !== null ? contact.toe_x_m - 0.12 : null;
    const at = x === null ? null : project(camera, [x, 0.1, 0]);
    const side = x === null ? null : project(camera, [x + 1, 0.1, 0]);
    if (!at || !side) return false;
    const metre = Math.hypot(side[0] - at[0], side[1] - at[1]);
    this.setZoom(this.canvas.clientWidth / (this.fit() * metre * 1.9), at, "foot");
    return true;
  }

  // Drawing -------------------------------------------------------------------------------------------------------

  draw() {
    if (this.queued) return;
    this.queued = true;
    requestAnimationFrame(() => {
      this.queued = false;
      this.paint();
    });
  }

  paint() {
    const { canvas, desk } = this;
    if (!desk.data) return;
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    const [w, h] = [canvas.clientWidth, canvas.clientHeight];
    if (canvas.width !== Math.round(w * ratio) || canvas.height !== Math.round(h * ratio)) {
      canvas.width = Math.round(w * ratio);
      canvas.height = Math.round(h * ratio);
    }
    const picture = desk.frames.get(desk.frame);
    const c = canvas.getContext("2d", { alpha: false });
    if (!picture && this.shown >= 0) return; // the frame before stays until this one is there
    c.setTransform(ratio, 0, 0, ratio, 0, 0);
    c.fillStyle = "#1d2022";
    c.fillRect(0, 0, w, h);
    if (!picture) return;
    const place = this.follows === "body" ? this.bodyPlace() : null;
    if (place) {
      this.zoom = clamp(place.zoom, 1, MOST_ZOOM);
      this.centre = place.at;
    }
    const view = this.view();
    const [cw, ch] = desk.data.clip.size;
    c.imageSmoothingQuality = "medium";
    c.drawImage(picture, -view.left * view.scale, -view.top * view.scale, cw * view.scale, ch * view.scale);
    this.layers(c, view, [w, h]);
    this.shown = desk.frame;
    canvas.dataset.frame = String(desk.frame);
    canvas.dataset.view = [view.scale, view.left, view.top].join(" ");
    desk.painted(desk.frame);
  }

  layers(c, view, size) {
    const { desk } = this;
    const row = desk.motion.row(desk.frame);
    const pen = new Pen(c, desk.motion, row >= 0 ? row : desk.motion.nearestRow(desk.frame), this.toCanvas(view), size);
    const time = desk.data.clip.times[desk.frame];
    const range = this.range(pen, view, size);
    if (desk.layers.grid) drawGrid(pen, range);
    if (desk.layers.ground) drawGround(pen, range, desk.data.clip.has_line);
    if (desk.layers.ground) drawFeet(pen, time);
    if (desk.layers.mats) drawMats(pen);
    if (desk.layers.path) drawPath(pen);
    if (row < 0) return;
    if (desk.layers.body) drawBody(pen, time);
    if (desk.look && desk.look.frame === desk.frame) drawMeasure(pen, desk.look.draw, desk.look.text);
    if (desk.mode === "joints") drawJoints(this.draggedPen(pen), desk.joint, this.hot);
  }

  draggedPen(pen) {
    // While a joint is held it is drawn where the hand is.
    const held = this.dragged || this.desk.nudged;
    if (!held) return pen;
    const joint = pen.joint.bind(pen);
    pen.joint = (name) => (name === held.name ? pen.toCanvas(held.px) : joint(name));
    return pen;
  }

  range(pen, view, size) {
    // The stretch of runway in the picture.
    const { motion } = this.desk;
    const hip = motion.hipM(pen.row);
    const middle = hip ? Math.round(hip[0]) : 0;
    let [low, high] = [middle, middle];
    const seen = (x) => {
      const at = pen.at([x, 0, 0]);
      return at && at[0] > -20 && at[0] < size[0] + 20;
    };
    while (low > middle - 30 && (seen(low - 0.5) || low > middle - 3)) low -= 0.5;
    while (high < middle + 30 && (seen(high + 0.5) || high < middle + 3)) high += 0.5;
    return [low, high];
  }

  // Hands ---------------------------------------------------------------------------------------------------------

  nearestJoint(event) {
    const { desk } = this;
    const row = desk.motion.row(desk.frame);
    if (row < 0) return null;
    const box = this.canvas.getBoundingClientRect();
    const to = this.toCanvas(this.view());
    const [x, y] = [event.clientX - box.left, event.clientY - box.top];
    let best = null;
    for (const name of desk.motion.joints.keys()) {
      const px = desk.motion.px(row, name);
      if (!px) continue;
      const [jx, jy] = to(px);
      const away = Math.hypot(jx - x, jy - y) - (name === desk.joint ? 6 : 0);
      if (away < GRAB_PX && (!best || away < best.away)) best = { name, px, away };
    }
    return best;
  }

  pointerdown(event) {
    const { desk, canvas } = this;
    if (!desk.data || (event.pointerType === "mouse" && event.button !== 0)) return;
    this.pointers.set(event.pointerId, event);
    try { canvas.setPointerCapture(event.pointerId); } catch { /* a pointer that has gone again */ }
    if (this.pointers.size === 2) {
      this.pinch = { distance: this.spread(), zoom: this.zoom };
      this.dragged = null;
      return;
    }
    this.start = { x: event.clientX, y: event.clientY, frame: desk.frame, centre: this.viewCentre(), moved: false };
    if (desk.mode === "joints") {
      const joint = this.nearestJoint(event);
      if (joint) {
        const [x, y] = this.toClip(event);
        this.dragged = { name: joint.name, px: joint.px, off: [joint.px[0] - x, joint.px[1] - y] };
        desk.choose(joint.name);
      }
    }
  }

  pointermove(event) {
    const { desk } = this;
    if (!desk.data) return;
    if (!this.pointers.has(event.pointerId)) {
      if (desk.mode === "joints") {
        const joint = this.nearestJoint(event);
        const name = joint ? joint.name : null;
        if (name !== this.hot) {
          this.hot = name;
          this.draw();
        }
      }
      return;
    }
    this.pointers.set(event.pointerId, event);
    if (this.pointers.size === 2 && this.pinch) {
      this.setZoom((this.pinch.zoom * this.spread()) / this.pinch.distance, this.centre || this.viewCentre());
      return;
    }
    if (!this.start) return;
    const [dx, dy] = [event.clientX - this.start.x, event.clientY - this.start.y];
    if (Math.hypot(dx, dy) > 3) this.start.moved = true;
    if (this.dragged) {
      const [x, y] = this.toClip(event);
      this.dragged.px = [x + this.dragged.off[0], y + this.dragged.off[1]];
      this.draw();
    } else if (this.start.moved && this.zoom > 1.01 && this.follows !== "body" && !event.shiftKey) {
      const { scale } = this.view();
      this.centre = [this.start.centre[0] - dx / scale, this.start.centre[1] - dy / scale];
      this.draw();
    } else if (this.start.moved && desk.mode !== "pick") {
      desk.step(this.start.frame + Math.round(dx / SCRUB_PX));
    }
  }

  pointerup(event) {
    const { desk } = this;
    this.pointers.delete(event.pointerId);
    if (this.pointers.size < 2) this.pinch = null;
    if (!this.start) return;
    const { moved } = this.start;
    this.start = null;
    if (this.dragged) {
      const { name, px } = this.dragged;
      this.dragged = null;
      if (moved) desk.drop(name, px);
      this.draw();
    } else if (!moved && desk.mode === "pick") {
      desk.pick(this.toClip(event));
    }
  }

  pointercancel(event) {
    this.pointers.delete(event.pointerId);
    this.start = null;
    this.dragged = null;
    this.draw();
  }

  wheel(event) {
    if (!this.desk.data) return;
    event.preventDefault();
    if (event.ctrlKey || event.metaKey) {
      this.setZoom(this.zoom * Math.exp(-event.deltaY / 240), this.toClip(event));
      return;
    }
    this.turned = (this.turned || 0) + (event.deltaMode === 0 ? event.deltaY / 40 : event.deltaY);
    const whole = Math.trunc(this.turned);
    if (whole) {
      this.turned -= whole;
      this.desk.step(this.desk.frame + whole);
    }
  }

  spread() {
    const [a, b] = [...this.pointers.values()];
    return Math.max(Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY), 1);
  }

  viewCentre() {
    const view = this.view();
    return [view.left + this.canvas.clientWidth / 2 / view.scale, view.top + this.canvas.clientHeight / 2 / view.scale];
  }
}
