// The picture: shown, zoomed and moved; marks drawn, chosen, dragged; the enlarged view around the pointer.

import { project } from "./geometry.js";

const GRAB_PX = 14;
const CENTRE_PX = 4; // a click this near to a mark means the mark, even while points are being set
const CLICK_PX = 5; // a pointer that moves less than this clicks
const MOST_ZOOM = 16;
const LOUPE_SCALE = 7; // screen pixels for a pixel of the picture
const clamp = (value, low, high) => Math.min(Math.max(value, low), high);
const GREEN = "#009e73", RED = "#d55e00", WHITE = "#ffffff", BLACK = "#111111", BLUE = "#56b4e9";

export class Board {
  // `desk` answers: marks, chosen, fit, showsGrid, nextPoint; and takes: place, choose, move, moved.
  /** @param {HTMLCanvasElement} canvas @param {HTMLCanvasElement} loupe @param {HTMLImageElement} image @param {any} desk */
  constructor(canvas, loupe, image, desk) {
    this.canvas = canvas;
    this.loupe = loupe;
    this.image = image;
    this.desk = desk;
    this.size = [image.naturalWidth, image.naturalHeight];
    this.zoom = 1;
    this.centre = this.size.map((v) => v / 2);
    this.cursor = this.centre.map((v) => v - 0.5);
    this.pointers = new Map();
    this.held = null;
    this.pinch = null;
    this.pans = false;
    this.isNear = false;
    new ResizeObserver(() => this.draw()).observe(canvas);
    for (const name of ["pointerdown", "pointermove", "pointerup", "pointercancel", "wheel"]) {
      canvas.addEventListener(name, (event) => this[name](event), { passive: false });
    }
    canvas.addEventListener("pointerleave", () => {
      this.isNear = document.activeElement === canvas;
      this.draw();
    });
    canvas.addEventListener("focus", () => this.draw());
  }

  // Mapping -------------------------------------------------------------------------------------------------------

  view() {
    const fit = Math.min(this.canvas.clientWidth / this.size[0], this.canvas.clientHeight / this.size[1]) || 1;
    const scale = fit * this.zoom;
    const half = [this.canvas.clientWidth / 2 / scale, this.canvas.clientHeight / 2 / scale];
    const middle = this.centre.map((v, i) => (2 * half[i] >= this.size[i] ? this.size[i] / 2 : clamp(v, half[i], this.size[i] - half[i])));
    return { scale, left: middle[0] - half[0], top: middle[1] - half[1] };
  }

  /** @param {number[]} point */
  toCanvas([x, y], view = this.view()) {
    return [(x + 0.5 - view.left) * view.scale, (y + 0.5 - view.top) * view.scale];
  }

  toPicture(event, view = this.view()) {
    const box = this.canvas.getBoundingClientRect();
    return [(event.clientX - box.left) / view.scale + view.left - 0.5, (event.clientY - box.top) / view.scale + view.top - 0.5];
  }

  zoomTo(zoom, at = null) {
    // The point `at` of the picture stays where it is on the screen.
    const before = this.view();
    const keep = at || [before.left + this.canvas.clientWidth / 2 / before.scale, before.top + this.canvas.clientHeight / 2 / before.scale];
    const spot = [(keep[0] - before.left) * before.scale, (keep[1] - before.top) * before.scale];
    this.zoom = clamp(zoom, 1, MOST_ZOOM);
    const scale = (before.scale * this.zoom) / (this.lastZoom || 1);
    this.lastZoom = this.zoom;
    this.centre = [keep[0] - (spot[0] - this.canvas.clientWidth / 2) / scale, keep[1] - (spot[1] - this.canvas.clientHeight / 2) / scale];
    this.canvas.dataset.zoom = this.zoom.toFixed(2);
    this.draw();
  }

  whole() {
    this.centre = this.size.map((v) => v / 2);
    this.zoomTo(1);
  }

  show(pixel) {
    // Bring a place into view.
    const [x, y] = this.toCanvas(pixel);
    if (x > 20 && y > 20 && x < this.canvas.clientWidth - 20 && y < this.canvas.clientHeight - 20) return;
    this.centre = [...pixel];
    this.draw();
  }

  // Pointers ------------------------------------------------------------------------------------------------------

  nearest(event) {
    const box = this.canvas.getBoundingClientRect();
    const reach = event.pointerType === "touch" ? 1.8 * GRAB_PX : GRAB_PX;
    let best = null;
    for (const mark of this.desk.marks) {
      const [x, y] = this.toCanvas(mark.pixel);
      const away = Math.hypot(x - (event.clientX - box.left), y - (event.clientY - box.top));
      if (away < reach && (!best || away < best.away)) best = { mark, away };
    }
    return best;
  }

  pointerdown(event) {
    if (event.button > 0) return;
    event.preventDefault();
    this.canvas.focus({ preventScroll: true });
    this.canvas.setPointerCapture(event.pointerId);
    this.pointers.set(event.pointerId, [event.clientX, event.clientY]);
    if (this.pointers.size === 2) {
      this.held = null;
      this.pinch = { apart: this.apart(), zoom: this.zoom };
      return;
    }
    const near = this.nearest(event);
    const mark = near && near.mark;
    const at = this.toPicture(event);
    // Points may lie close together: while one is asked for, a click beside a mark sets it; a drag moves the mark.
    const sets = !mark || (this.desk.nextPoint && near.away > CENTRE_PX);
    this.held = { mark, sets, from: [event.clientX, event.clientY], at, offset: mark ? [mark.pixel[0] - at[0], mark.pixel[1] - at[1]] : null, isDrag: false, centre: [...this.centre] };
    if (!sets) this.desk.choose(mark.id);
    this.canvas.dataset.over = mark ? "held" : "";
    this.isNear = true;
    this.cursor = sets ? at : [...mark.pixel];
    this.draw();
  }

  pointermove(event) {
    const before = this.pointers.get(event.pointerId);
    if (before) this.pointers.set(event.pointerId, [event.clientX, event.clientY]);
    this.isNear = true;
    if (this.pinch && this.pointers.size === 2) {
      this.zoomTo((this.pinch.zoom * this.apart()) / this.pinch.apart, this.toPicture(this.between()));
      return;
    }
    const held = this.held;
    if (!held || !before) {
      this.cursor = this.toPicture(event);
      this.canvas.dataset.over = this.nearest(event) ? "mark" : "";
      this.draw();
      return;
    }
    const moved = [event.clientX - held.from[0], event.clientY - held.from[1]];
    if (!held.isDrag && Math.hypot(...moved) < CLICK_PX) return;
    held.isDrag = true;
    const view = this.view();
    if (held.mark) {
      const at = this.toPicture(event);
      this.cursor = this.within([at[0] + held.offset[0], at[1] + held.offset[1]]);
      if (this.desk.chosen !== held.mark.id) this.desk.choose(held.mark.id);
      this.desk.move(held.mark.id, this.cursor);
    } else {
      this.centre = held.centre.map((v, i) => v - moved[i] / view.scale);
    }
    this.draw();
  }

  pointerup(event) {
    this.pointers.delete(event.pointerId);
    const held = this.held;
    if (this.pinch) {
      if (this.pointers.size === 0) this.pinch = null;
      return;
    }
    this.held = null;
    if (!held) return;
    if (held.mark && held.isDrag) this.desk.moved(held.mark.id);
    else if (held.sets && !held.isDrag) this.desk.place(this.within(held.at));
    else if (!held.mark) this.centre = [this.view().left + this.canvas.clientWidth / 2 / this.view().scale, this.view().top + this.canvas.clientHeight / 2 / this.view().scale];
    if (event.pointerType === "touch") this.isNear = Boolean(this.desk.chosen);
    this.canvas.dataset.over = "";
    this.draw();
  }

  pointercancel(event) {
    this.pointers.delete(event.pointerId);
    if (this.held && this.held.mark && this.held.isDrag) this.desk.moved(this.held.mark.id);
    this.held = this.pinch = null;
    this.draw();
  }

  wheel(event) {
    event.preventDefault();
    this.zoomTo(this.zoom * Math.exp(-clamp(event.deltaY, -120, 120) / 300), this.toPicture(event));
  }

  apart() {
    const [a, b] = [...this.pointers.values()];
    return Math.max(Math.hypot(a[0] - b[0], a[1] - b[1]), 1);
  }

  between() {
    const [a, b] = [...this.pointers.values()];
    return { clientX: (a[0] + b[0]) / 2, clientY: (a[1] + b[1]) / 2 };
  }

  /** @param {number[]} point */
  within([x, y]) {
    return [clamp(x, 0, this.size[0] - 1), clamp(y, 0, this.size[1] - 1)].map((v) => Math.round(v * 100) / 100);
  }

  // Drawing -------------------------------------------------------------------------------------------------------

  draw() {
    if (this.queued) return;
    this.queued = true;
    requestAnimationFrame(() => {
      this.queued = false;
      this.paint();
      this.paintLoupe();
    });
  }

  context(canvas) {
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    const [w, h] = [Math.round(canvas.clientWidth * ratio), Math.round(canvas.clientHeight * ratio)];
    if (canvas.width !== w || canvas.height !== h) [canvas.width, canvas.height] = [w, h];
    const pen = canvas.getContext("2d");
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, canvas.clientWidth, canvas.clientHeight);
    return pen;
  }

  paint() {
    const pen = this.context(this.canvas);
    const view = this.view();
    pen.imageSmoothingEnabled = view.scale < 3;
    pen.drawImage(this.image, -view.left * view.scale, -view.top * view.scale, this.size[0] * view.scale, this.size[1] * view.scale);
    if (this.desk.fit && this.desk.showsGrid) this.paintGrid(pen, view);
    for (const mark of this.desk.marks) this.paintMark(pen, mark, view);
    if (document.activeElement === this.canvas && !this.desk.chosen) this.cross(pen, this.toCanvas(this.cursor, view), 9, WHITE);
  }

  paintGrid(pen, view) {
    const camera = this.desk.fit.camera;
    const xs = this.desk.marks.map((mark) => mark.runway[0]);
    const [from, to] = [Math.floor(Math.min(...xs)) - 1, Math.ceil(Math.max(...xs)) + 1];
    const line = (a, b, colour, width) => {
      const steps = 16;
      pen.beginPath();
      let open = false;
      for (let i = 0; i <= steps; i += 1) {
        const at = project(camera, a.map((v, k) => v + ((b[k] - v) * i) / steps));
        if (at) pen[open ? "lineTo" : "moveTo"](...this.toCanvas(at, view));
        open = Boolean(at);
      }
      pen.lineWidth = width + 2;
      pen.strokeStyle = "rgb(0 0 0 / 0.45)";
      pen.stroke();
      pen.lineWidth = width;
      pen.strokeStyle = colour;
      pen.stroke();
    };
    for (let y = 1; y <= 2; y += 1) line([from, y, 0], [to, y, 0], WHITE, 1);
    for (let x = from; x <= to; x += 1) line([x, 0, 0], [x, 2, 0], WHITE, 1);
    for (const z of [-0.61, 0.61]) line([from, 0, z], [to, 0, z], GREEN, 1);
    for (let x = from; x <= to; x += 1) line([x, 0, -0.61], [x, 0, 0.61], GREEN, 1);
    line([from, 0, 0], [to, 0, 0], GREEN, 2.5);
    pen.font = "600 12px system-ui, sans-serif";
    pen.textAlign = "center";
    for (let x = from; x <= to; x += 1) {
      const at = project(camera, [x, 0, 0]);
      if (at) this.label(pen, `${x}${x ? "" : " m"}`.replace("-", "−"), this.toCanvas(at, view), 16);
    }
  }

  /** @param {any} pen @param {string} text @param {number[]} point @param {number} down */
  label(pen, text, [x, y], down) {
    pen.lineWidth = 3;
    pen.strokeStyle = BLACK;
    pen.strokeText(text, x, y + down);
    pen.fillStyle = WHITE;
    pen.fillText(text, x, y + down);
  }

  paintMark(pen, mark, view) {
    const at = this.toCanvas(mark.pixel, view);
    const isChosen = mark.id === this.desk.chosen;
    const result = this.desk.resultOf(mark);
    const colour = result && result.disagrees ? RED : isChosen ? BLUE : WHITE;
    this.cross(pen, at, isChosen ? 11 : 7, colour, result && result.disagrees);
    if (!this.desk.fit) return;
    const wanted = project(this.desk.fit.camera, mark.runway);
    if (!wanted) return;
    const to = this.toCanvas(wanted, view);
    if (Math.hypot(to[0] - at[0], to[1] - at[1]) < 3) return;
    pen.beginPath();
    pen.moveTo(...at);
    pen.lineTo(...to);
    pen.lineWidth = 2;
    pen.strokeStyle = colour;
    pen.setLineDash([4, 3]);
    pen.stroke();
    pen.setLineDash([]);
  }

  /** @param {any} pen @param {number[]} point @param {number} size @param {string} colour */
  cross(pen, [x, y], size, colour, isWrong = false) {
    for (const [width, ink] of [[4, BLACK], [2, colour]]) {
      pen.beginPath();
      pen.moveTo(x - size, y);
      pen.lineTo(x - 2, y);
      pen.moveTo(x + 2, y);
      pen.lineTo(x + size, y);
      pen.moveTo(x, y - size);
      pen.lineTo(x, y - 2);
      pen.moveTo(x, y + 2);
      pen.lineTo(x, y + size);
      if (isWrong) pen.rect(x - size - 3, y - size - 3, 2 * size + 6, 2 * size + 6);
      pen.lineWidth = width;
      pen.strokeStyle = ink;
      pen.stroke();
    }
  }

  paintLoupe() {
    const chosen = this.desk.marks.find((mark) => mark.id === this.desk.chosen);
    const isUsed = this.isNear || Boolean(chosen) || document.activeElement === this.canvas;
    this.loupe.hidden = !isUsed;
    if (!isUsed) return;
    const at = chosen && (!this.held || this.held.mark) && (document.activeElement === this.canvas || this.held) && !this.hovers() ? chosen.pixel : this.cursor;
    const [cx] = this.toCanvas(at);
    this.loupe.dataset.side = cx > this.canvas.clientWidth / 2 ? "left" : "right";
    const pen = this.context(this.loupe);
    const [w, h] = [this.loupe.clientWidth, this.loupe.clientHeight];
    const scale = Math.max(LOUPE_SCALE, 2 * this.view().scale);
    pen.imageSmoothingEnabled = false;
    const [left, top] = [at[0] + 0.5 - w / 2 / scale, at[1] + 0.5 - h / 2 / scale];
    pen.drawImage(this.image, -left * scale, -top * scale, this.size[0] * scale, this.size[1] * scale);
    for (const mark of this.desk.marks) {
      const spot = [(mark.pixel[0] + 0.5 - left) * scale, (mark.pixel[1] + 0.5 - top) * scale];
      if (mark.id !== this.desk.chosen && spot[0] > 0 && spot[1] > 0 && spot[0] < w && spot[1] < h) this.cross(pen, spot, 6, WHITE);
    }
    this.cross(pen, [w / 2, h / 2], w / 2, BLUE);
  }

  hovers() {
    return this.isNear && !this.held && this.canvas.matches(":hover");
  }
}
