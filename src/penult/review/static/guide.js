// The six instants that matter, one after the other: touchdown and toe-off of the last three contacts, one key each.

import { clamp, project } from "./geometry.js";
import { element } from "./measures.js";
import { near } from "./panels.js";

const CONTACTS = [-2, -1, 0];
const OFFSETS = [-2, -1, 0, 1, 2];

export class Guide {
  constructor(box, desk) {
    this.box = box;
    this.desk = desk;
    this.at = -1;
    this.shift = 0;
    this.isBusy = false;
  }

  get isOn() {
    return this.at >= 0;
  }

  instants() {
    const found = CONTACTS.map((number) => this.desk.motion.contact(number)).filter(Boolean);
    return found.flatMap((contact) => ["touchdown", "toe_off"].map((instant) => ({ number: contact.number, instant })));
  }

  start() {
    const open = this.instants().findIndex(({ number, instant }) => !this.desk.motion.contact(number).looked_at.includes(instant));
    this.begun = performance.now();
    this.go(Math.max(open, 0));
    this.box.focus();
  }

  stop() {
    this.at = -1;
    this.shift = 0;
    this.box.hidden = true;
    this.desk.guided(false);
  }

  go(at) {
    if (at >= this.instants().length) {
      this.finish();
      return;
    }
    this.at = Math.max(at, 0);
    this.shift = 0;
    this.box.hidden = false;
    this.desk.guided(true);
    this.render();
    this.look();
  }

  finish() {
    const seconds = Math.round((performance.now() - this.begun) / 1000);
    this.stop();
    this.desk.say(`All ${this.instants().length} instants are checked (${seconds} s).`);
  }

  now() {
    const { number, instant } = this.instants()[this.at];
    const contact = this.desk.motion.contact(number);
    const i = instant === "toe_off" ? 1 : 0;
    const position = contact.span_frames[i] + this.shift;
    return { contact, instant, i, position, frame: this.desk.showing(instant, position) };
  }

  look() {
    const { contact, frame } = this.now();
    this.desk.chosen = contact.number;
    this.desk.show(frame);
    this.desk.picture.lookAtFoot(contact);
    this.films();
  }

  // One key each --------------------------------------------------------------------------------------------------

  key(event) {
    if (!this.isOn || event.ctrlKey || event.metaKey || event.altKey) return false;
    const acts = {
      Enter: () => this.accept(),
      " ": () => this.accept(),
      ArrowLeft: () => this.move(-1),
      ArrowRight: () => this.move(1),
      Backspace: () => this.go(this.at - 1),
      Escape: () => this.stop(),
    };
    const act = acts[event.key];
    if (!act) return false;
    if ((event.key === "Enter" || event.key === " ") && event.target.closest("button, summary, select, input")) return false;
    event.preventDefault();
    act();
    return true;
  }

  move(by) {
    const { contact, i } = this.now();
    const other = contact.span_frames[1 - i];
    const own = contact.span_frames[i];
    const limits = i ? [other + 1 - own, this.desk.count] : [-this.desk.count, other - 1 - own];
    this.shift = clamp(this.shift + by, Math.ceil(limits[0]), Math.floor(limits[1]));
    this.render();
    this.look();
  }

  async accept() {
    if (this.isBusy) return;
    this.isBusy = true;
    const { contact, instant, position } = this.now();
    const body = this.shift
      ? { kind: "instant-moved", near_frame: near(contact), instant, to_frame: position }
      : { kind: "instant-confirmed", near_frame: near(contact), instant };
    const isDone = await this.desk.correct(body);
    this.isBusy = false;
    if (isDone && this.isOn) this.go(this.at + 1);
  }

  // Drawing -------------------------------------------------------------------------------------------------------

  render() {
    if (!this.isOn) return;
    const instants = this.instants();
    if (this.at >= instants.length) {
      this.stop();
      return;
    }
    const { contact, instant, i } = this.now();
    const word = i ? "toe-off" : "touchdown";
    const marks = instants.map((place, n) => {
      const isSeen = this.desk.motion.contact(place.number).looked_at.includes(place.instant);
      const name = place.instant === "touchdown" ? "↓" : "↑";
      return element("li", { class: n === this.at ? "now" : isSeen ? "seen" : "", "aria-hidden": "true" }, name);
    });
    const moved = this.shift ? `moved by ${this.shift > 0 ? "+" : "−"}${Math.abs(this.shift)} ${Math.abs(this.shift) === 1 ? "frame" : "frames"}` : "";
    const focus = this.box.contains(document.activeElement) ? document.activeElement.id : "";
    this.box.replaceChildren(
      element("ol", { class: "six" }, ...marks),
      element("h2", { id: "guide-title", "aria-live": "polite" }, `${this.at + 1} of ${instants.length}: ${word}, ${contact.name} contact (${contact.told})`),
      element("p", {}, i ? "Is the picture in the middle the last one in which the shoe bears on the ground?" : "Is the picture in the middle the first one in which the shoe bears on the ground?"),
      element("div", { class: "films" }, ...OFFSETS.map((offset) => this.film(offset, i))),
      element("p", { class: "edge" }, "Green below: the shoe bears. ", moved ? element("span", { class: "by-hand", id: "guide-moved" }, moved) : ""),
      element(
        "div",
        { class: "row" },
        element("button", { type: "button", class: "strong", id: "guide-yes", onclick: () => this.accept() }, this.shift ? "Set " : "Yes ", element("kbd", { "aria-hidden": "true" }, "Enter")),
        element("button", { type: "button", id: "guide-earlier", "aria-label": "One frame earlier", onclick: () => this.move(-1) }, "Earlier ", element("kbd", { "aria-hidden": "true" }, "←")),
        element("button", { type: "button", id: "guide-later", "aria-label": "One frame later", onclick: () => this.move(1) }, "Later ", element("kbd", { "aria-hidden": "true" }, "→")),
        element("button", { type: "button", id: "guide-back", onclick: () => this.go(this.at - 1), disabled: this.at === 0 }, "Back"),
        element("button", { type: "button", id: "guide-stop", onclick: () => this.stop() }, "Leave ", element("kbd", { "aria-hidden": "true" }, "Esc")),
      ),
    );
    this.box.dataset.instant = instant;
    this.box.dataset.contact = String(contact.number);
    if (focus) {
      const again = /** @type {HTMLButtonElement} */ (document.getElementById(focus));
      if (again && !again.disabled) again.focus({ preventScroll: true });
      else this.box.focus({ preventScroll: true });
    }
  }

  film(offset, i) {
    const bears = i ? offset <= 0 : offset >= 0;
    const canvas = element("canvas", { width: 150, height: 180, "data-offset": offset });
    const text = offset === 0 ? (i ? "last" : "first") : offset > 0 ? `+${offset}` : `−${-offset}`;
    const act = () => (offset ? this.move(offset) : this.accept());
    return element(
      "button",
      { type: "button", class: `${bears ? "bears" : ""} ${offset === 0 ? "here" : ""}`, onclick: act, tabindex: -1, "aria-label": `${text}: ${offset ? "this frame instead" : "this frame"}` },
      canvas,
      element("span", {}, text),
    );
  }

  async films() {
    // The foot in the frames around the instant, side by side.
    const { contact, frame } = this.now();
    const token = {};
    this.token = token;
    const box = this.region(contact, frame);
    for (const offset of [0, -1, 1, -2, 2]) {
      const index = clamp(frame + offset, 0, this.desk.count - 1);
      const picture = await this.desk.frames.load(index).catch(() => null);
      if (this.token !== token) return;
      const canvas = this.box.querySelector(`canvas[data-offset="${offset}"]`);
      if (!picture || !canvas || !box) continue;
      const scale = picture.width / this.desk.data.clip.size[0];
      const c = canvas.getContext("2d");
      c.drawImage(picture, box.x * scale, box.y * scale, box.w * scale, box.h * scale, 0, 0, canvas.width, canvas.height);
      const ground = ((box.ground - box.y) / box.h) * canvas.height;
      c.fillStyle = "rgba(0, 158, 115, 0.9)";
      c.fillRect(0, ground, 10, 2);
      c.fillRect(canvas.width - 10, ground, 10, 2);
    }
  }

  region(contact, frame) {
    const { motion } = this.desk;
    const camera = motion.camera(motion.nearestRow(frame));
    if (contact.toe_x_m === null) return null;
    const surface = contact.mat_m || 0;
    const at = project(camera, [contact.toe_x_m - 0.12, surface, 0]);
    const side = project(camera, [contact.toe_x_m + 0.88, surface, 0]);
    if (!at || !side) return null;
    const w = 0.62 * Math.hypot(side[0] - at[0], side[1] - at[1]);
    const h = 1.2 * w;
    return { x: at[0] - w / 2, y: at[1] - 0.72 * h, w, h, ground: at[1] };
  }
}
