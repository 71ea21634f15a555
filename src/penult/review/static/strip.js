// Time from left to right: a bar for every contact on its foot's lane, the hip's height, and the pole of the frame shown.

import { clamp, frameNear, positionAt, timeAt } from "./geometry.js";
import { COLOURS } from "./drawing.js";

const LEFT = 52;
const RIGHT = 14;
const LANES = { left: 22, right: 56 };
const GROUND = 88;
const QUIET_MS = 450; // of keys, after which a moved instant is saved

export class Strip {
  // `desk` answers: data, motion, frame, chosen (a contact's number); takes: show(frame), choose(number), move(...).
  constructor(box, desk) {
    this.box = box;
    this.desk = desk;
    this.canvas = document.createElement("canvas");
    this.canvas.setAttribute("aria-hidden", "true");
    this.pole = document.createElement("div");
    this.pole.id = "pole";
    box.append(this.canvas, this.pole);
    for (const [foot, top] of Object.entries(LANES)) {
      const name = document.createElement("span");
      name.className = "lane-name";
      name.textContent = foot === "left" ? "L" : "R";
      name.style.top = `${top + 3}px`;
      box.append(name);
    }
    this.parts = new Map();
    this.pending = null;
    this.after = null;
    new ResizeObserver(() => this.render()).observe(box);
    box.addEventListener("pointerdown", (event) => this.scrub(event));
    box.addEventListener("wheel", (event) => {
      event.preventDefault();
      this.desk.show(this.desk.frame + Math.sign(event.deltaY || event.deltaX));
    }, { passive: false });
  }

  span() {
    const { times } = this.desk.data.clip;
    const { frames } = this.desk.data.track;
    const pad = 0.02 * (times[frames[frames.length - 1]] - times[frames[0]]);
    return [times[frames[0]] - pad, times[frames[frames.length - 1]] + pad];
  }

  x(time) {
    const [low, high] = this.span();
    return LEFT + ((time - low) / (high - low)) * (this.box.clientWidth - LEFT - RIGHT);
  }

  timeOf(x) {
    const [low, high] = this.span();
    return low + ((x - LEFT) / (this.box.clientWidth - LEFT - RIGHT)) * (high - low);
  }

  // Drawing -------------------------------------------------------------------------------------------------------

  render() {
    if (!this.desk.data || !this.box.clientWidth) return;
    const kept = new Set();
    for (const contact of this.desk.data.contacts) {
      kept.add(contact.number);
      this.place(this.parts.get(contact.number) || this.make(contact.number), contact);
    }
    for (const [number, part] of this.parts) {
      if (kept.has(number)) continue;
      for (const element of [part.bar, part.touchdown, part.toe_off]) element.remove();
      this.parts.delete(number);
    }
    this.curve();
    this.cursor();
  }

  make(number) {
    const bar = document.createElement("button");
    bar.type = "button";
    bar.className = "bar";
    bar.addEventListener("click", () => this.desk.choose(number));
    const part = { bar };
    for (const instant of ["touchdown", "toe_off"]) part[instant] = this.makeGrip(number, instant);
    this.box.append(bar, part.touchdown, part.toe_off);
    this.parts.set(number, part);
    return part;
  }

  makeGrip(number, instant) {
    const grip = document.createElement("div");
    grip.className = "grip";
    grip.tabIndex = 0;
    grip.dataset.contact = String(number);
    grip.dataset.instant = instant;
    grip.setAttribute("role", "slider");
    grip.setAttribute("aria-orientation", "horizontal");
    grip.addEventListener("keydown", (event) => this.keyed(event, number, instant));
    grip.addEventListener("focus", () => {
      this.desk.choose(number, instant, true); // shown, but no panel is opened by a mere focus
    });
    grip.addEventListener("blur", () => this.settle());
    grip.addEventListener("pointerdown", (event) => this.grab(event, number, instant));
    return grip;
  }

  place(part, contact) {
    const top = LANES[contact.foot];
    const chosen = this.desk.chosen === contact.number;
    const time = this.desk.data.clip.times[this.desk.frame];
    const [start, end] = [0, 1].map((i) => this.x(this.instantTime(contact, i)));
    const { bar } = part;
    bar.style.left = `${start}px`;
    bar.style.top = `${top}px`;
    bar.style.width = `${Math.max(end - start, 4)}px`;
    const room = end - start;
    bar.textContent = room > 74 ? contact.name : room > 20 ? String(contact.number).replace("-", "−") : "";
    bar.classList.toggle("now", contact.span_s[0] <= time && time <= contact.span_s[1]);
    bar.classList.toggle("hand", contact.by_hand);
    bar.setAttribute("aria-pressed", String(chosen));
    const seconds = contact.span_s.map((s) => s.toFixed(3)).join(" to ");
    const shown = bar.textContent === contact.name ? "" : `${bar.textContent} `; // what is seen must be said too
    bar.setAttribute("aria-label", `${shown}${contact.name} contact, ${contact.told} foot, ${seconds} seconds${contact.by_hand ? ", corrected by hand" : ""}`);
    ["touchdown", "toe_off"].forEach((instant, i) => this.placeGrip(part[instant], contact, instant, i, top));
  }

  placeGrip(grip, contact, instant, i, top) {
    const time = this.instantTime(contact, i);
    const position = this.position(contact, i);
    const moved = this.pending && this.pending.number === contact.number && this.pending.instant === instant;
    grip.style.left = `${this.x(time) - grip.offsetWidth / 2}px`;
    grip.style.top = `${top - 5}px`;
    grip.classList.toggle("hand", contact.by_hand);
    grip.classList.toggle("moved", Boolean(moved));
    const { count } = this.desk;
    grip.setAttribute("aria-label", `${instant === "touchdown" ? "touchdown" : "toe-off"}, ${contact.name} contact`);
    grip.setAttribute("aria-valuemin", "0");
    grip.setAttribute("aria-valuemax", String(count - 1));
    grip.setAttribute("aria-valuenow", position.toFixed(2));
    grip.setAttribute("aria-valuetext", `${time.toFixed(4)} seconds, frame ${position.toFixed(1)}`);
    grip.textContent = "";
    if (contact.looked_at.includes(instant)) {
      const tick = document.createElement("span");
      tick.className = "tick";
      tick.textContent = "✓";
      grip.append(tick);
    }
  }

  position(contact, i) {
    const { pending } = this;
    const instant = i ? "toe_off" : "touchdown";
    const own = contact.span_frames[i];
    return pending && pending.number === contact.number && pending.instant === instant ? own + pending.by : own;
  }

  instantTime(contact, i) {
    return timeAt(this.desk.data.clip.times, this.position(contact, i));
  }

  curve() {
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    const [w, h] = [this.box.clientWidth, this.box.clientHeight];
    this.canvas.width = Math.round(w * ratio);
    this.canvas.height = Math.round(h * ratio);
    const c = this.canvas.getContext("2d");
    c.setTransform(ratio, 0, 0, ratio, 0, 0);
    c.clearRect(0, 0, w, h);
    const style = getComputedStyle(document.documentElement);
    const [ink, soft, rule] = ["--ink", "--soft", "--rule"].map((name) => style.getPropertyValue(name).trim());
    this.ticks(c, soft, rule, w);
    const { track, clip } = this.desk.data;
    const heights = track.hip.map(([, y]) => y).filter((y) => y !== null);
    if (!heights.length) return;
    const [low, high] = [Math.floor(Math.min(...heights) * 20) / 20, Math.ceil(Math.max(...heights) * 20) / 20];
    const y = (value) => h - 10 - ((value - low) / (high - low || 1)) * (h - 10 - GROUND - 20);
    c.font = "11px system-ui, sans-serif";
    for (const value of [low, high]) {
      c.strokeStyle = rule;
      c.lineWidth = 1;
      c.beginPath();
      c.moveTo(LEFT, y(value));
      c.lineTo(w - RIGHT, y(value));
      c.stroke();
      c.fillStyle = soft;
      c.textAlign = "right";
      c.fillText(`${Math.round(100 * value)} cm`, LEFT - 5, y(value) + 4);
    }
    c.textAlign = "left";
    c.fillText("hip height", LEFT + 4, y(high) + 13);
    c.strokeStyle = ink;
    c.lineWidth = 2;
    c.beginPath();
    let drawing = false;
    track.hip.forEach(([, value], row) => {
      if (value === null) {
        drawing = false;
        return;
      }
      const at = [this.x(clip.times[track.frames[row]]), y(value)];
      if (drawing) c.lineTo(at[0], at[1]);
      else c.moveTo(at[0], at[1]);
      drawing = true;
    });
    c.stroke();
    for (const contact of this.desk.data.contacts) {
      if (contact.lowest_s === null) continue;
      const row = this.desk.motion.nearestRow(frameNear(clip.times, contact.lowest_s));
      const value = track.hip[row][1];
      if (value === null) continue;
      c.fillStyle = ink;
      c.beginPath();
      c.arc(this.x(contact.lowest_s), y(value), 3.5, 0, 7);
      c.fill();
    }
  }

  ticks(c, soft, rule, w) {
    // The ground line with a tick every tenth of a second.
    c.strokeStyle = COLOURS.track;
    c.lineWidth = 3;
    c.beginPath();
    c.moveTo(LEFT, GROUND);
    c.lineTo(w - RIGHT, GROUND);
    c.stroke();
    const [low, high] = this.span();
    const every = high - low > 4 ? 0.5 : (w - LEFT) / ((high - low) / 0.1) < 34 ? 0.2 : 0.1;
    c.font = "11px system-ui, sans-serif";
    c.textAlign = "center";
    for (let i = Math.ceil(low / every); i * every <= high; i += 1) {
      const x = this.x(i * every);
      c.strokeStyle = soft;
      c.lineWidth = 1;
      c.beginPath();
      c.moveTo(x, 0);
      c.lineTo(x, 5);
      c.stroke();
      c.fillStyle = soft;
      c.fillText(`${(i * every).toFixed(1)} s`, x, 15);
      c.strokeStyle = rule;
      c.beginPath();
      c.moveTo(x, 20);
      c.lineTo(x, GROUND - 2);
      c.stroke();
    }
  }

  cursor() {
    const { data, frame } = this.desk;
    if (!data) return;
    const time = data.clip.times[frame];
    this.pole.style.left = `${this.x(time)}px`;
    for (const contact of data.contacts) {
      const part = this.parts.get(contact.number);
      if (part) part.bar.classList.toggle("now", contact.span_s[0] <= time && time <= contact.span_s[1]);
    }
  }

  // Hands ---------------------------------------------------------------------------------------------------------

  scrub(event) {
    if (!this.desk.data || event.target.closest(".grip, .bar") || (event.pointerType === "mouse" && event.button !== 0)) return;
    const box = this.box.getBoundingClientRect();
    const go = (e) => this.desk.show(frameNear(this.desk.data.clip.times, this.timeOf(e.clientX - box.left)));
    go(event);
    this.follow(event, go, () => {});
  }

  grab(event, number, instant) {
    if (event.pointerType === "mouse" && event.button !== 0) return;
    event.preventDefault();
    event.stopPropagation();
    event.currentTarget.focus({ preventScroll: true });
    this.settle();
    const contact = this.desk.motion.contact(number);
    const i = instant === "toe_off" ? 1 : 0;
    const from = event.clientX;
    const base = contact.span_frames[i];
    const start = this.x(timeAt(this.desk.data.clip.times, base));
    const go = (e) => {
      const to = positionAt(this.desk.data.clip.times, this.timeOf(start + e.clientX - from));
      this.shift(contact, instant, Math.round(to - base)); // by whole frames, so that it stays as sure as a frame allows
    };
    this.follow(event, go, (isDone) => {
      if (isDone) this.settle();
      else this.forget();
    });
  }

  follow(event, go, end) {
    const { pointerId } = event;
    const move = (e) => e.pointerId === pointerId && go(e);
    const stop = (e) => {
      if (e.pointerId !== pointerId) return;
      window.removeEventListener("pointermove", move);
      window.removeEventListener("pointerup", stop);
      window.removeEventListener("pointercancel", stop);
      end(e.type === "pointerup");
    };
    window.addEventListener("pointermove", move);
    window.addEventListener("pointerup", stop);
    window.addEventListener("pointercancel", stop);
  }

  keyed(event, number, instant) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const by = { ArrowLeft: -1, ArrowRight: 1, ArrowDown: -1, ArrowUp: 1 }[event.key];
    if (by) {
      event.preventDefault();
      event.stopPropagation();
      this.nudge(number, instant, by * (event.shiftKey ? 5 : 1));
    } else if (event.key === "Enter") {
      event.preventDefault();
      event.stopPropagation();
      this.settle();
    } else if (event.key === "Escape" && this.pending) {
      event.stopPropagation();
      this.forget();
    }
  }

  // Move an instant by frames; saved when the hand has been quiet for a moment.
  nudge(number, instant, by) {
    const contact = this.desk.motion.contact(number);
    if (!contact) return;
    if (this.pending && this.pending.isSent) {
      // the one before is being saved: what comes meanwhile is counted from where that ends
      const same = this.after && this.after.number === number && this.after.instant === instant;
      this.after = { number, instant, by: (same ? this.after.by : 0) + by };
      return;
    }
    const before = this.pending && this.pending.number === number && this.pending.instant === instant ? this.pending.by : 0;
    if (!before) this.settle();
    this.shift(contact, instant, before + by);
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.settle(), QUIET_MS);
  }

  shift(contact, instant, by) {
    const i = instant === "toe_off" ? 1 : 0;
    const other = contact.span_frames[1 - i];
    const own = contact.span_frames[i];
    const limit = i ? [other + 1 - own, Infinity] : [-Infinity, other - 1 - own];
    const held = clamp(by, Math.ceil(limit[0]), Math.floor(limit[1]));
    this.pending = { number: contact.number, instant, by: held, near: (contact.span_frames[0] + contact.span_frames[1]) / 2, to: own + held };
    this.place(this.parts.get(contact.number), contact);
    this.desk.show(this.desk.showing(instant, own + held));
    this.desk.previewed();
  }

  settle() {
    clearTimeout(this.timer);
    const { pending } = this;
    if (!pending) return;
    if (!pending.by) {
      this.forget();
      return;
    }
    if (pending.isSent) return;
    pending.isSent = true;
    this.desk.move(pending).finally(() => {
      if (this.pending === pending) this.forget();
      const { after } = this;
      this.after = null;
      if (after) this.nudge(after.number, after.instant, after.by);
    });
  }

  forget() {
    clearTimeout(this.timer);
    this.pending = null;
    this.render();
    this.desk.previewed();
  }
}
