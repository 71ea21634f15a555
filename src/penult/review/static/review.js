// The review page: one desk that knows the state, and the parts that show it.

import { clamp, frameNear, Motion } from "./geometry.js";
import { Frames } from "./frames.js";
import { Guide } from "./guide.js";
import { element, Numbers } from "./measures.js";
import { ClipPanel, DonePanel, near, other, RightPanel } from "./panels.js";
import { Picture } from "./picture.js";
import { listen, load, LOST, post, Refusal } from "./server.js";
import { Strip } from "./strip.js";

const SPEEDS = [0, 1 / 32, 1 / 16, 1 / 8, 1 / 4, 1 / 2, 1];
const SPEED_WORDS = ["still", "1/32", "1/16", "1/8", "1/4", "1/2", "real time"];
const LAYERS = ["body", "path", "ground", "grid", "mats"];
const NEW_CONTACT_S = 0.1;

const KEYS = [
  ["← →", "one instant: touchdown, lowest hip, toe-off"],
  ["Shift ← →", "one frame"],
  ["Page up, page down", "ten frames"],
  ["Home, End", "first and last frame of the run"],
  ["Space", "play, stop"],
  ["[ ]", "slower, faster"],
  ["1 to 5", "layers on and off"],
  ["+ − 0", "larger, smaller, whole picture"],
  ["B, V", "the athlete, the foot of the contact"],
  ["C", "check six instants"],
  ["T", "touchdown here: this is the first picture in which the shoe bears"],
  ["O", "toe-off here: this is the last picture in which the shoe bears"],
  ["F", "other foot"],
  ["A", "add a contact here"],
  ["Del", "delete the contact"],
  ["J", "move joints; then N and P choose one, arrows on the picture move it, Enter sets it"],
  ["Ctrl Z, Ctrl Y", "undo, redo"],
  ["arrows on a touchdown or toe-off of the strip", "move it by a frame, with Shift by five"],
];

const LONG = new Set(["step", "step-time", "toe", "flight", "approach"]); // drawn along the runway: the whole picture is needed
const SMALL = new Set(["board", "surface", "foot", "instant"]); // at the shoe

/** @returns {any} an element that the page has, of whatever kind */
const $ = (id) => document.getElementById(id);

class Desk {
  constructor() {
    this.data = null;
    this.motion = null;
    this.frames = null;
    this.frame = 0;
    this.chosen = -1;
    this.mode = "look";
    this.joint = "right_knee";
    this.nudged = null;
    this.look = null;
    this.layers = {};
    this.busy = 0;
    this.playing = null;
    this.picture = new Picture($("picture"), this);
    this.strip = new Strip($("strip"), this);
    this.numbers = new Numbers($("panel-numbers"), (row) => this.follow(row));
    this.right = new RightPanel($("panel-right"), this);
    this.clip = new ClipPanel($("panel-clip"), this);
    this.done = new DonePanel($("panel-done"), this);
    this.guide = new Guide($("guide"), this);
  }

  get count() {
    return this.data.clip.times.length;
  }

  // State ---------------------------------------------------------------------------------------------------------

  async open() {
    this.take(await load(0), true);
    listen((news) => this.hear(news), () => this.lose());
  }

  take(data, isFirst = false) {
    this.data = data;
    this.motion = new Motion(data);
    if (isFirst) {
      this.frames = new Frames(0, this.count, (index) => {
        if (index === this.frame) this.picture.draw();
        if (this.frames.fault) this.note(this.frames.fault);
      });
      this.frame = data.first_frame;
      this.frames.want(this.frame);
      if (window.innerWidth <= 900) this.picture.lookAtBody();
    }
    if (!this.motion.contact(this.chosen)) this.chosen = (this.motion.contact(-1) || data.contacts[data.contacts.length - 1] || {}).number;
    if (this.look) this.look = this.lookFor(this.look.id);
    document.body.dataset.version = String(data.version);
    this.render();
  }

  render() {
    const { clip, history, undone, is_written: isWritten } = this.data;
    document.title = `${clip.file}: review`;
    $("file").textContent = clip.file;
    $("facts").textContent = [clip.athlete, clip.kind || "kind not given", `${Number(clip.rate.toFixed(1))} frames a second`, clip.direction === "left to right" ? "run →" : "← run"].filter(Boolean).join(", ");
    $("undo").disabled = !history.length;
    $("undo").title = history.length ? history[history.length - 1].text : "";
    $("redo").disabled = !undone.length;
    $("redo").title = undone.length ? undone[undone.length - 1].text : "";
    $("write").disabled = isWritten;
    $("write").title = isWritten ? "The files of the result hold all corrections" : "Write numbers, pictures and film of the result anew";
    this.numbers.render(this.data);
    this.right.render();
    this.clip.render();
    this.done.render();
    this.strip.render();
    this.guide.render();
    this.readout();
    this.picture.draw();
  }

  lose() {
    // The program has ended, or is about to answer again.
    document.body.dataset.lost = "true";
    clearTimeout(this.mourning);
    this.mourning = setTimeout(() => this.fail(LOST), 3000);
  }

  hear(news) {
    if (news.here) {
      clearTimeout(this.mourning);
      if (document.body.dataset.lost === "true") this.reload().then(() => this.quiet());
      document.body.dataset.lost = "false";
    }
    if (news.doing !== undefined) this.note(`${news.doing} ${Math.round(100 * news.share)} %`);
    if (news.version !== undefined && !this.busy && (news.version !== this.data.version || news.is_written !== this.data.is_written)) {
      const isElsewhere = news.version > this.data.version;
      this.reload().then(() => {
        if (isElsewhere) this.say("Changed in another window; its state is shown.");
      });
    }
  }

  async reload() {
    try {
      const data = await load(0);
      if (!this.busy) this.take(data);
    } catch (error) {
      this.fail(error);
    }
  }

  // Changes -------------------------------------------------------------------------------------------------------

  correct(correction) {
    return this.change("correct", { correction, version: this.data.version }, () => this.correct(correction));
  }

  undo() {
    return this.change("undo", { version: this.data.version });
  }

  redo() {
    return this.change("redo", { version: this.data.version });
  }

  write() {
    return this.change("write", {}).then((isDone) => {
      if (isDone) this.say("The files of the result hold all corrections now.");
    });
  }

  async change(name, body, again = null) {
    this.busy += 1;
    document.body.dataset.busy = "true";
    const begun = performance.now();
    try {
      const data = await post(name, body);
      this.busy -= 1;
      this.note("");
      this.quiet();
      this.take(data);
      document.body.dataset.tookMs = String(Math.round(performance.now() - begun));
      return true;
    } catch (error) {
      this.busy -= 1;
      this.note("");
      if (error instanceof Refusal && error.status === 409 && error.content.clip) {
        this.take(error.content);
        this.fail(error, again);
      } else {
        this.fail(error);
      }
      return false;
    } finally {
      document.body.dataset.busy = String(this.busy > 0);
    }
  }

  move(pending) {
    return this.correct({ kind: "instant-moved", near_frame: pending.near, instant: pending.instant, to_frame: pending.to });
  }

  setHere(instant) {
    // Between this picture and its neighbour: the shoe bears in the one and not in the other.
    const contact = this.motion.contact(this.chosen);
    if (!contact) return;
    const to = instant === "touchdown" ? this.frame - 0.5 : this.frame + 0.5;
    this.correct({ kind: "instant-moved", near_frame: near(contact), instant, to_frame: to });
  }

  changeFoot() {
    const contact = this.motion.contact(this.chosen);
    if (contact) this.correct({ kind: "foot-changed", near_frame: near(contact), foot: other(contact.foot), everywhere: false });
  }

  deleteContact() {
    const contact = this.motion.contact(this.chosen);
    if (contact) this.correct({ kind: "contact-deleted", near_frame: near(contact) });
  }

  addContact(foot = null) {
    const { times } = this.data.clip;
    const end = frameNear(times, times[this.frame] + NEW_CONTACT_S);
    const before = this.data.contacts.filter((c) => c.span_frames[1] < this.frame).pop();
    const side = foot || (before ? other(before.foot) : "left");
    const added = { kind: "contact-added", foot: side, touchdown_frame: this.frame - 0.5, toe_off_frame: Math.max(end, this.frame + 1) + 0.5 };
    const at = times[this.frame];
    this.correct(added).then((isDone) => {
      const made = isDone && this.data.contacts.find((c) => c.span_s[0] <= at && at <= c.span_s[1]);
      if (made) this.choose(made.number);
    });
  }

  drop(name, px) {
    this.nudged = null;
    return this.correct({ kind: "joint-dragged", frame: this.frame, joint: name, to_px: px.map((v) => Math.round(v * 100) / 100) });
  }

  nudgeJoint(x, y) {
    const row = this.motion.row(this.frame);
    if (row < 0) return;
    const held = this.nudged && this.nudged.name === this.joint && this.nudged.frame === this.frame;
    const px = held ? this.nudged.px : this.motion.px(row, this.joint);
    if (!px) return;
    this.nudged = { name: this.joint, px: [px[0] + x, px[1] + y], frame: this.frame };
    this.right.render();
    this.picture.draw();
  }

  dropNudged() {
    if (this.nudged) this.drop(this.nudged.name, this.nudged.px);
  }

  pick([x, y]) {
    this.setMode("look");
    this.correct({ kind: "athlete-picked", run: 1, at: [Math.round(x), Math.round(y), this.frame] });
  }

  // Looking -------------------------------------------------------------------------------------------------------

  // The frame that shows an instant best: the first in which the shoe bears, or the last.
  showing(instant, position) {
    const frame = instant === "touchdown" ? Math.ceil(position - 1e-6) : Math.floor(position + 1e-6);
    return clamp(frame, 0, this.count - 1);
  }

  show(frame, stride = 1) {
    const to = clamp(Math.round(frame), 0, this.count - 1);
    const way = to >= this.frame ? stride : -stride;
    if (to !== this.frame) {
      this.frame = to;
      this.asked = performance.now();
      if (this.nudged) this.nudged = null;
    }
    this.frames.want(to, way);
    this.strip.cursor();
    this.readout();
    this.picture.draw();
  }

  step(frame) {
    this.stop();
    this.show(frame);
  }

  painted() {
    if (this.asked) {
      document.body.dataset.stepMs = String(Math.round(performance.now() - this.asked));
      this.asked = 0;
    }
    if (this.frames.fault) this.note(this.frames.fault);
    if (!document.body.dataset.firstMs) document.body.dataset.firstMs = String(Math.round(performance.now()));
  }

  previewed() {
    const at = (instant, i) => {
      const place = $(`${instant}-at`);
      const contact = this.motion.contact(this.chosen);
      if (place && contact) place.textContent = `${this.strip.instantTime(contact, i).toFixed(4)} s`;
    };
    at("touchdown", 0);
    at("toe_off", 1);
  }

  // To the next touchdown, lowest hip or toe-off; past the last one to the end of the run.
  stepInstant(way) {
    const { times } = this.data.clip;
    const instants = this.data.contacts.flatMap((c) => {
      const [start, end] = [this.showing("touchdown", c.span_frames[0]), this.showing("toe_off", c.span_frames[1])];
      // Hips that are lowest as the shoe lands are shown by the frame of the landing, not by the one before it.
      const lowest = c.lowest_s === null ? [] : [clamp(frameNear(times, c.lowest_s), start, end)];
      return [start, ...lowest, end].map((frame) => [frame, c.number]);
    }).sort((one, two) => one[0] - two[0]);
    const next = way > 0 ? instants.find(([frame]) => frame > this.frame) : instants.reverse().find(([frame]) => frame < this.frame);
    if (next) {
      [, this.chosen] = next;
      this.step(next[0]);
      this.right.render();
      this.strip.render();
    } else {
      const { frames } = this.data.track;
      this.step(way > 0 ? frames[frames.length - 1] : frames[0]);
    }
  }

  choose(what, instant = null, isSilent = false) {
    if (typeof what === "string") {
      this.choose_joint(what);
      return;
    }
    this.chosen = what;
    const contact = this.motion.contact(what);
    if (!contact) return;
    const i = instant === "toe_off" ? 1 : 0;
    if (!this.strip.pending) this.step(this.showing(i ? "toe_off" : "touchdown", contact.span_frames[i]));
    this.strip.render();
    this.right.render();
    if (!isSilent && !this.guide.isOn) openTab("right", false);
  }

  choose_joint(name) {
    this.joint = name;
    if (this.nudged && this.nudged.name !== name) this.nudged = null;
    this.right.render();
    this.picture.draw();
  }

  lookFor(id) {
    const row = this.data.groups.flatMap((g) => g.rows).find((r) => r.id === id);
    return row && row.draw ? { id, frame: row.frame, draw: row.draw, text: `${short(row.words)} ${row.text}` } : null;
  }

  follow(row) {
    this.numbers.mark(row.id);
    this.look = this.lookFor(row.id);
    if (row.frame !== null) this.step(row.frame);
    const kind = this.look && this.look.draw.kind;
    const isClose = SMALL.has(kind) ? this.picture.lookAtFoot(this.motion.contact(this.look.draw.contact)) : kind && !LONG.has(kind) && this.picture.lookAtBody();
    if (!isClose) this.picture.lookAtAll();
  }

  lookAgain(follows) {
    if (follows !== "body" || !this.picture.lookAtBody()) this.picture.lookAtAll();
  }

  resized(follows) {
    for (const [id, name] of [["zoom-fit", "whole"], ["zoom-body", "body"], ["zoom-foot", "foot"]]) {
      $(id).setAttribute("aria-pressed", String(follows === name));
    }
  }

  setMode(mode) {
    this.mode = mode;
    this.nudged = null;
    $("picture").dataset.mode = mode;
    if (mode === "pick") this.note("Point at the athlete in this frame. Esc leaves it.");
    else this.note("");
    if (mode === "joints") {
      this.stop();
      if (this.picture.follows === "whole") this.picture.lookAtBody(); // joints are too near each other in the whole picture
      $("layer-body").checked = true;
      this.layers.body = true;
    }
    this.right.render();
    this.clip.render();
    this.picture.draw();
  }

  guided(isOn) {
    document.body.classList.toggle("guided", isOn);
    if (isOn) this.before = this.before || this.picture.follows;
    else {
      this.lookAgain(this.before);
      this.before = null;
    }
    this.strip.render();
  }

  readout() {
    const { clip } = this.data;
    const time = clip.times[this.frame];
    const contact = this.motion.contactAt(time);
    const hip = this.motion.row(this.frame) >= 0 ? this.motion.hipM(this.motion.row(this.frame)) : null;
    const where = contact ? `${contact.name} contact (${{ left: "L", right: "R" }[contact.told] || "?"})` : "flight";
    const parts = [element("b", {}, `${time.toFixed(4)} s`), `, frame ${this.frame} of ${this.count - 1}, `, where];
    if (hip) parts.push(`, hip ${Math.round(100 * hip[1])} cm`);
    $("readout").replaceChildren(...parts);
    $("readout").dataset.frame = String(this.frame);
    $("picture").setAttribute("aria-label", `Picture of the clip, frame ${this.frame}, ${time.toFixed(3)} seconds, ${where}`);
  }

  // Playing -------------------------------------------------------------------------------------------------------

  play() {
    const speed = SPEEDS[Number($("speed").value)];
    if (this.playing || !speed) {
      this.stop();
      return;
    }
    const { frames } = this.data.track;
    const last = frames[frames.length - 1];
    if (this.frame >= last) this.show(frames[0]);
    this.playing = { time: this.data.clip.times[this.frame], at: performance.now() };
    $("play").setAttribute("aria-pressed", "true");
    $("play").textContent = "Stop";
    requestAnimationFrame(() => this.tick());
  }

  tick() {
    if (!this.playing) return;
    const { times } = this.data.clip;
    const { frames } = this.data.track;
    const speed = SPEEDS[Number($("speed").value)];
    const now = performance.now();
    const isThere = this.frames.get(this.frame) !== null;
    if (isThere) this.playing.time += ((now - this.playing.at) / 1000) * speed;
    this.playing.at = now;
    const to = frameNear(times, this.playing.time);
    const stride = Math.max(1, Math.round((speed / 60) / (times[1] - times[0])));
    if (to !== this.frame) this.show(to, stride);
    if (!speed || to >= frames[frames.length - 1]) this.stop();
    else requestAnimationFrame(() => this.tick());
  }

  stop() {
    if (!this.playing) return;
    this.playing = null;
    $("play").setAttribute("aria-pressed", "false");
    $("play").textContent = "Play";
  }

  // Words ---------------------------------------------------------------------------------------------------------

  note(text) {
    $("stage-note").textContent = text;
    $("stage-note").hidden = !text;
  }

  quiet() {
    $("said").replaceChildren();
    clearTimeout(this.hush);
  }

  say(text) {
    this.quiet();
    $("said").append(element("div", {}, element("p", {}, text), this.closer()));
    this.hush = setTimeout(() => this.quiet(), 8000);
  }

  closer() {
    return element("button", { type: "button", onclick: () => this.quiet(), "aria-label": "Close this message" }, "Close");
  }

  fail(error, again = null) {
    this.quiet();
    const said = error.said || { what: String(error.message || error), details: [], next_step: "" };
    const words = [said.what, ...said.details, said.next_step].filter(Boolean).join("; ");
    const retry = again ? element("button", { type: "button", id: "do-again", onclick: () => again() }, "Do mine again") : null;
    $("said").append(element("div", { class: "fault" }, element("p", {}, words), retry, this.closer()));
  }
}

const short = (words) => words.split(",")[0].replace(" at touchdown", "").replace(" at toe-off", "").replace(" in support", "");

/** @returns {HTMLElement[]} */
const tabsOf = (place) => [...place.querySelectorAll('[role="tab"]')];

function openTab(name, focus = true) {
  for (const tab of tabsOf(document)) {
    const isThis = tab.id === `tab-${name}`;
    tab.setAttribute("aria-selected", String(isThis));
    tab.tabIndex = isThis ? 0 : -1;
    $(tab.getAttribute("aria-controls")).hidden = !isThis;
    if (isThis && focus) tab.focus();
  }
}

function wire(desk) {
  for (const name of LAYERS) {
    const box = $(`layer-${name}`);
    desk.layers[name] = box.checked;
    box.addEventListener("change", () => {
      desk.layers[name] = box.checked;
      desk.picture.draw();
    });
  }
  const clicks = {
    undo: () => desk.undo(),
    redo: () => desk.redo(),
    write: () => desk.write(),
    "guide-start": () => desk.guide.start(),
    "keys-open": () => $("keys").showModal(),
    "keys-close": () => $("keys").close(),
    "zoom-in": () => desk.picture.setZoom(desk.picture.zoom * 1.5),
    "zoom-out": () => desk.picture.setZoom(desk.picture.zoom / 1.5),
    "zoom-fit": () => desk.picture.lookAtAll(),
    "zoom-body": () => desk.picture.lookAtBody(),
    "zoom-foot": () => desk.picture.lookAtFoot(desk.motion.contact(desk.chosen)),
    "instant-back": () => desk.stepInstant(-1),
    "instant-on": () => desk.stepInstant(1),
    "frame-back": () => desk.step(desk.frame - 1),
    "frame-on": () => desk.step(desk.frame + 1),
    play: () => desk.play(),
  };
  for (const [id, act] of Object.entries(clicks)) $(id).addEventListener("click", () => desk.data && act());
  const speed = () => {
    $("speed-out").textContent = SPEED_WORDS[Number($("speed").value)];
    $("speed").setAttribute("aria-valuetext", SPEED_WORDS[Number($("speed").value)]);
  };
  $("speed").addEventListener("input", speed);
  speed();
  $("keys-list").append(...KEYS.flatMap(([name, what]) => [element("dt", {}, name), element("dd", {}, what)]));
  for (const tab of tabsOf(document)) {
    tab.addEventListener("click", () => openTab(tab.id.slice(4)));
    tab.addEventListener("keydown", (event) => {
      const way = { ArrowRight: 1, ArrowLeft: -1 }[event.key];
      if (!way) return;
      event.preventDefault();
      event.stopPropagation();
      const tabs = tabsOf(document);
      openTab(tabs[(tabs.indexOf(tab) + way + tabs.length) % tabs.length].id.slice(4));
    });
  }
  $("guide").tabIndex = -1;
  // On a narrow page the picture stays in sight while the rest scrolls below it: others must know how tall it is.
  new ResizeObserver(() => document.documentElement.style.setProperty("--screen", `${$("screen").offsetHeight}px`)).observe($("screen"));
  document.addEventListener("keydown", (event) => desk.data && keyed(desk, event));
}

function keyed(desk, event) {
  if (event.defaultPrevented || document.querySelector("dialog[open]")) return;
  const typing = event.target.closest('input:not([type="checkbox"]):not([type="range"]), select, textarea');
  const isCommand = event.ctrlKey || event.metaKey;
  if (isCommand && !typing && !event.altKey) {
    const letter = event.key.toLowerCase();
    if (letter === "z" || letter === "y") {
      event.preventDefault();
      desk.strip.settle();
      if (letter === "y" || event.shiftKey) desk.redo();
      else desk.undo();
    }
    return;
  }
  if (typing || isCommand || event.altKey) return;
  if (desk.guide.key(event)) return;
  if (desk.mode === "joints" && event.target === $("picture") && jointKey(desk, event)) return;
  const act = movingKeys(desk)[event.shiftKey ? `Shift ${event.key}` : event.key];
  if (act && !(event.target.closest('[type="range"]') && event.key.startsWith("Arrow"))) {
    if (event.key === " " && event.target.closest("button, summary, [type=checkbox]")) return;
    event.preventDefault();
    act();
    return;
  }
  if (!$("keys-single").checked) return;
  const letter = letterKeys(desk)[event.key.length === 1 ? event.key.toLowerCase() : event.key];
  if (letter) {
    event.preventDefault();
    letter();
  }
}

const movingKeys = (desk) => {
  const { frames } = desk.data.track;
  return {
    ArrowLeft: () => desk.stepInstant(-1),
    ArrowRight: () => desk.stepInstant(1),
    "Shift ArrowLeft": () => desk.step(desk.frame - 1),
    "Shift ArrowRight": () => desk.step(desk.frame + 1),
    PageUp: () => desk.step(desk.frame - 10),
    PageDown: () => desk.step(desk.frame + 10),
    Home: () => desk.step(frames[0]),
    End: () => desk.step(frames[frames.length - 1]),
    " ": () => desk.play(),
    Escape: () => desk.setMode("look"),
  };
};

const letterKeys = (desk) => {
  const layer = (name) => () => $(`layer-${name}`).click();
  const speed = (by) => () => {
    $("speed").value = String(clamp(Number($("speed").value) + by, 0, SPEEDS.length - 1));
    $("speed").dispatchEvent(new Event("input"));
  };
  const joint = (by) => () => {
    const names = [...desk.motion.joints.keys()];
    if (desk.mode === "joints") desk.choose_joint(names[(names.indexOf(desk.joint) + by + names.length) % names.length]);
  };
  return {
    ...Object.fromEntries(LAYERS.map((name, i) => [String(i + 1), layer(name)])),
    "[": speed(-1),
    "]": speed(1),
    "+": () => desk.picture.setZoom(desk.picture.zoom * 1.5),
    "=": () => desk.picture.setZoom(desk.picture.zoom * 1.5),
    "-": () => desk.picture.setZoom(desk.picture.zoom / 1.5),
    0: () => desk.picture.lookAtAll(),
    b: () => desk.picture.lookAtBody(),
    v: () => desk.picture.lookAtFoot(desk.motion.contact(desk.chosen)),
    c: () => desk.guide.start(),
    t: () => desk.setHere("touchdown"),
    o: () => desk.setHere("toe_off"),
    f: () => desk.changeFoot(),
    a: () => desk.addContact(),
    Delete: () => desk.deleteContact(),
    j: () => desk.setMode(desk.mode === "joints" ? "look" : "joints"),
    n: joint(1),
    p: joint(-1),
    "?": () => $("keys").showModal(),
  };
};

function jointKey(desk, event) {
  const by = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
  if (by) {
    event.preventDefault();
    const size = event.shiftKey ? 10 : 1;
    desk.nudgeJoint(by[0] * size, by[1] * size);
    return true;
  }
  if (event.key === "Enter") {
    event.preventDefault();
    desk.dropNudged();
    return true;
  }
  return false;
}

const desk = new Desk();
wire(desk);
desk.open().catch((error) => desk.fail(error));
