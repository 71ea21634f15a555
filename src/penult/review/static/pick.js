// Marks are clicked, named by what they are, and shown with what they give. The server only fits and writes.

import { Board } from "./pick_board.js";
import { asMetres, kinds, number, points, unique } from "./pick_marks.js";
import { listen, post } from "./server.js";

/** @returns {any} an element that the page has, of whatever kind */
const $ = (id) => document.getElementById(id);
const element = (tag, attributes = {}, ...inside) => {
  const made = Object.assign(document.createElement(tag), attributes);
  made.append(...inside);
  return made;
};

const isTouched = () => matchMedia("(pointer: coarse)").matches; // a focused field would bring up the keyboard
const LEAST_MARKS = 4;

class Desk {
  constructor(start) {
    this.start = start;
    this.kinds = kinds(start.facts);
    this.kind = this.kinds[0];
    this.values = new Map(this.kinds.map((kind) => [kind.key, Object.fromEntries(kind.fields.map((f) => [f.key, String(f.begin)]))]));
    this.step = 0;
    this.ids = 0;
    this.marks = start.draft.marks.map((mark) => ({ id: (this.ids += 1), name: mark.name, pixel: mark.pixel, runway: mark.runway_m }));
    this.chosen = null;
    this.fit = null;
    this.fitted = [];
    this.showsGrid = true;
    this.past = [];
    this.future = [];
    this.asked = 0;
    this.board = null;
    this.distance = start.draft.camera_distance_m || null;
  }

  get way() {
    return Number($("way").value);
  }

  round() {
    return points(this.kind, this.values.get(this.kind.key), this.way);
  }

  get nextPoint() {
    const round = this.round();
    return round.points ? round.points[Math.min(this.step, round.points.length - 1)] || null : null;
  }

  resultOf(mark) {
    const row = this.fitted.indexOf(mark.id);
    return this.fit && row >= 0 ? this.fit.marks[row] : null;
  }

  // Changes -------------------------------------------------------------------------------------------------------

  keep() {
    this.past.push(JSON.stringify(this.marks));
    this.future = [];
  }

  place(pixel) {
    const point = this.nextPoint;
    if (!point) {
      this.showNext();
      $("next").animate([{ opacity: 0.2 }, { opacity: 1 }], 300);
      const { field } = this.round();
      const asked = field === "confirm" ? $("confirm") : $(`field-${field}`);
      if (asked) asked.focus();
      return;
    }
    this.keep();
    const mark = { id: (this.ids += 1), name: unique(point.name, this.marks), pixel, runway: [...point.runway] };
    this.marks.push(mark);
    this.chosen = mark.id;
    this.advance();
    this.changed();
  }

  advance() {
    const round = this.round();
    this.step += 1;
    if (!round.points || this.step < round.points.length) return;
    this.step = 0;
    const values = this.values.get(this.kind.key);
    if (this.kind.advance) {
      values[this.kind.advance] = String(Number((number(values[this.kind.advance]) + number(values.step)).toFixed(3)));
      this.showFields();
    } else if (this.kind.again) {
      values[this.kind.again] = "";
      this.showFields();
      const field = $(`field-${this.kind.again}`);
      if (field && !isTouched()) field.focus();
    }
  }

  choose(id) {
    this.chosen = id;
    this.showMarks();
    this.board.draw();
  }

  move(id, pixel) {
    const mark = this.marks.find((m) => m.id === id);
    if (!this.moving) {
      this.keep();
      this.moving = true;
    }
    mark.pixel = pixel;
    this.board.draw();
  }

  moved() {
    this.moving = false;
    this.changed();
  }

  remove(id) {
    this.keep();
    this.marks = this.marks.filter((mark) => mark.id !== id);
    if (this.chosen === id) this.chosen = null;
    this.changed();
  }

  turn(from, to) {
    if (!from.length) return;
    to.push(JSON.stringify(this.marks));
    this.marks = JSON.parse(from.pop());
    if (!this.marks.some((mark) => mark.id === this.chosen)) this.chosen = null;
    this.changed();
  }

  changed() {
    $("undo").disabled = !this.past.length;
    $("redo").disabled = !this.future.length;
    $("said").replaceChildren(); // what was said is of the marks as they were
    this.showMarks();
    this.showNext();
    this.board.draw();
    this.ask();
  }

  draft() {
    return {
      marks: this.marks.map((mark) => ({ name: mark.name, pixel: mark.pixel, runway_m: mark.runway })),
      camera_distance_m: this.distance,
      board: $("board").checked,
      note: $("note").value,
    };
  }

  async ask() {
    const turn = (this.asked += 1);
    const ids = this.marks.map((mark) => mark.id);
    document.body.dataset.fitted = "";
    try {
      const answer = await post("fit", this.draft());
      if (turn !== this.asked) return;
      this.fit = answer.fit || null;
      this.fitted = ids;
      this.showFit(answer.missing);
    } catch (refusal) {
      if (turn === this.asked) say(refusal.said);
    }
    $("write").disabled = !this.fit;
    this.showNext();
    document.body.dataset.fitted = String(turn);
    this.showMarks();
    this.board.draw();
  }

  async write() {
    $("write").disabled = true;
    try {
      const answer = await post("write", this.draft());
      const wrong = answer.fit.marks.filter((mark) => mark.disagrees).length;
      const told = wrong ? [`${wrong} mark${wrong > 1 ? "s disagree" : " disagrees"} with the others: named beside the picture`] : [];
      say({ what: `Written: ${answer.written}, with its picture beside it. You can close this page.`, details: told, next_step: `penult check ${answer.written}` }, wrong > 0);
    } catch (refusal) {
      say(refusal.said);
    }
    $("write").disabled = !this.fit;
  }

  // What is shown -------------------------------------------------------------------------------------------------

  showKinds() {
    $("kind").replaceChildren(
      ...this.kinds.map((kind) => {
        const button = element("button", { type: "button", textContent: kind.label, id: `kind-${kind.key}` });
        button.setAttribute("role", "radio");
        button.setAttribute("aria-checked", String(kind === this.kind));
        button.setAttribute("aria-pressed", String(kind === this.kind));
        button.addEventListener("click", () => {
          this.kind = kind;
          this.step = 0;
          this.showKinds();
          this.showFields();
          this.showNext();
        });
        return button;
      }),
    );
  }

  showFields() {
    const values = this.values.get(this.kind.key);
    const row = element("div", { className: "row" });
    for (const field of this.kind.fields) {
      // A phone's keypad of numbers may lack the minus sign that x and z need.
      const input = element("input", { type: "text", id: `field-${field.key}`, value: values[field.key], inputMode: field.text || field.hint ? "text" : "decimal" });
      if (field.hint) input.title = field.hint;
      input.addEventListener("input", () => {
        values[field.key] = input.value;
        this.step = 0;
        this.showNext();
      });
      row.append(element("label", {}, field.label, " ", input, field.unit ? ` ${field.unit}` : ""));
    }
    const parts = [element("p", { className: "why", textContent: this.kind.why }), row];
    if (this.kind.confirm) {
      const box = element("input", { type: "checkbox", id: "confirm", checked: Boolean(values.confirmed) });
      box.addEventListener("change", () => {
        values.confirmed = box.checked;
        this.showNext();
      });
      parts.push(element("label", { className: "confirm" }, box, this.kind.confirm));
    }
    $("fields").replaceChildren(...parts);
  }

  showNext() {
    const round = this.round();
    const point = this.nextPoint;
    const isDone = this.fit && round.field && this.values.get(this.kind.key)[round.field] === "";
    $("next").textContent = point ? `Next: click ${point.name}` : `${isDone ? "Write the file, or go on. " : ""}${round.missing}`;
    for (const input of $("fields").querySelectorAll("input")) {
      input.ariaInvalid = String(input.id === `field-${round.field}` && input.value !== "");
    }
    $("next").dataset.ready = String(Boolean(point));
    $("skip").hidden = !round.points || round.points.length < 2;
  }

  showMarks() {
    $("count").textContent = this.marks.length ? `${this.marks.length}` : "none yet";
    const active = /** @type {HTMLElement} */ (document.activeElement);
    const held = active && active.dataset ? active.dataset.place : "";
    $("marks").tBodies[0].replaceChildren(...this.marks.map((mark) => this.markRow(mark)));
    if (held) {
      const again = /** @type {HTMLElement} */ (document.querySelector(`[data-place="${held}"]`));
      if (again) again.focus();
    }
  }

  markRow(mark) {
    const result = this.resultOf(mark);
    const name = element("button", { type: "button", className: "name", textContent: mark.name });
    name.addEventListener("click", () => {
      this.choose(mark.id);
      this.board.show(mark.pixel);
    });
    const off = element("td", { className: "off", textContent: result ? `${result.cm.toFixed(1)} cm off` : "" });
    if (result && result.left_out_cm !== null) off.title = `${result.left_out_cm.toFixed(1)} cm from where the other marks put it`;
    const remove = element("button", { type: "button", className: "remove", textContent: "×", ariaLabel: `Remove ${mark.name}` });
    remove.addEventListener("click", () => this.remove(mark.id));
    const row = element("tr", {}, element("td", { className: "name" }, name), off, element("td", {}, remove));
    mark.runway.forEach((value, axis) => {
      const input = element("input", { type: "text", value: String(value), ariaLabel: `${"xyz"[axis]} of ${mark.name}` });
      input.dataset.place = `${mark.id}-${axis}`;
      input.addEventListener("change", () => this.retyped(mark, axis, input));
      row.append(element("td", {}, "xyz"[axis], input));
    });
    row.setAttribute("aria-selected", String(mark.id === this.chosen));
    row.dataset.disagrees = String(Boolean(result && result.disagrees));
    return row;
  }

  retyped(mark, axis, input) {
    const value = number(input.value);
    if (!Number.isFinite(value) || Math.abs(value) > 100) {
      const kept = String(mark.runway[axis]);
      say({ what: `${"xyz"[axis]} of ${mark.name}: a number in metres is wanted, at most 100, got '${input.value}'${asMetres(input.value)}. It was left at ${kept}.`, details: [], next_step: "type it again" });
      input.value = kept;
      return;
    }
    this.keep();
    mark.runway[axis] = value;
    this.changed();
  }

  retypedDistance(input) {
    const typed = input.value.trim();
    const value = number(typed);
    if (typed !== "" && !(value >= 0.5 && value <= 300)) {
      const kept = this.distance === null ? "" : String(this.distance);
      say({ what: `Camera to the middle line: metres are wanted, 0.5 to 300, got '${typed}'${asMetres(typed)}. ${kept ? `It was left at ${kept}.` : "It was left out."}`, details: [], next_step: "type it again" });
      input.value = kept;
      return;
    }
    this.distance = typed === "" ? null : value;
    $("said").replaceChildren();
    this.ask();
  }

  showFit(missing) {
    const parts = [];
    const line = (text, className = "") => parts.push(element("p", { className, textContent: text }));
    const count = this.marks.length;
    if (missing) {
      line(count ? `${count} mark${count > 1 ? "s" : ""}, no camera from ${count > 1 ? "them" : "it"} yet.` : "Nothing clicked yet.", "sum");
      if (count < LEAST_MARKS) line(`${LEAST_MARKS} marks are needed at least, not all in one line; 8 or more are better.`);
      for (const detail of count ? missing.details : []) if (!/at least \d+ are needed/.test(detail)) line(detail, "told");
    } else if (this.fit) this.fitLines(line);
    $("fit").replaceChildren(...parts);
  }

  fitLines(line) {
    const { fit } = this;
    const wrong = this.marks.filter((mark) => (this.resultOf(mark) || {}).disagrees);
    line(`The marks fit to ${(fit.rms_px * fit.cm_per_px).toFixed(1)} cm (${fit.rms_px.toFixed(1)} px).`, "sum");
    for (const mark of wrong) {
      const off = this.resultOf(mark).left_out_cm ?? this.resultOf(mark).cm;
      line(`${mark.name}: ${off.toFixed(0)} cm from where the other marks put it. Check what was typed, and the click.`, "wrong");
    }
    const [, height, away] = fit.place_m;
    const distance = fit.depth_known ? `${Math.abs(away).toFixed(1)} m from the middle line, ${height.toFixed(1)} m high` : "distance not known";
    line(`Camera: ${distance}, turned by ${fit.view_deg.toFixed(1)}°. One pixel is ${fit.cm_per_px.toFixed(2)} cm.`);
    if (!fit.depth_known) line("These marks do not give the camera's distance. Type it below from a tape, or add marks beside the middle line.", "told");
    if (fit.turned) line(fit.turned, "told");
  }
}

function say(said, isFault = true) {
  const text = [said.what, ...said.details, said.next_step && `Next: ${said.next_step}`].filter(Boolean).join(" · ");
  const close = element("button", { type: "button", textContent: "Close" });
  const box = element("div", { className: isFault ? "fault" : "" }, element("p", { textContent: text }), close);
  close.addEventListener("click", () => box.remove());
  $("said").replaceChildren(box);
}

function keys(desk, board) {
  const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  document.addEventListener("keydown", (event) => {
    const isTyping = /** @type {Element} */ (event.target).matches("input, select, textarea");
    if ((event.ctrlKey || event.metaKey) && !isTyping && /^[zy]$/i.test(event.key)) {
      event.preventDefault();
      if (event.key.toLowerCase() === "y" || event.shiftKey) desk.turn(desk.future, desk.past);
      else desk.turn(desk.past, desk.future);
    } else if (isTyping && event.key === "Enter") {
      event.preventDefault();
      $("picture").focus();
    }
  });
  $("picture").addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const arrow = ARROWS[event.key];
    const chosen = desk.marks.find((mark) => mark.id === desk.chosen);
    const acts = {
      "+": () => board.zoomTo(board.zoom * 1.5, chosen ? chosen.pixel : board.cursor),
      "=": () => board.zoomTo(board.zoom * 1.5, chosen ? chosen.pixel : board.cursor),
      "-": () => board.zoomTo(board.zoom / 1.5),
      0: () => board.whole(),
      Enter: () => desk.place(board.within(board.cursor)),
      n: () => desk.marks.length && desk.choose(desk.marks[(desk.marks.findIndex((m) => m.id === desk.chosen) + 1) % desk.marks.length].id),
      Escape: () => desk.choose(null),
      Delete: () => chosen && desk.remove(chosen.id),
      Backspace: () => chosen && desk.remove(chosen.id),
    };
    if (arrow) {
      const by = chosen ? (event.shiftKey ? 2 : 0.25) : event.shiftKey ? 1 : 10 / board.view().scale;
      const from = chosen ? chosen.pixel : board.cursor;
      const to = board.within([from[0] + by * arrow[0], from[1] + by * arrow[1]]);
      board.cursor = to;
      board.show(to);
      if (chosen) {
        desk.move(chosen.id, to);
        clearTimeout(desk.pause);
        desk.pause = setTimeout(() => desk.moved(), 350);
      }
      board.draw();
    } else if (acts[event.key]) acts[event.key]();
    else return;
    event.preventDefault();
  });
}

async function begin() {
  const start = await (await fetch("api/start")).json();
  document.title = `Marks: ${start.file}`;
  $("file").textContent = start.file;
  $("write").textContent = `Write ${start.out}`;
  const image = new Image();
  image.src = "picture.jpg";
  await image.decode();
  const desk = new Desk(start);
  const board = new Board($("picture"), $("loupe"), image, desk);
  desk.board = board;
  if (start.draft.camera_distance_m) $("distance").value = start.draft.camera_distance_m;
  if (start.draft.board === false) $("board").checked = false;
  $("note").value = start.draft.note || "";
  const sides = desk.marks.map((mark) => [mark.runway[0], mark.pixel[0]]);
  if (sides.length > 1 && sides.some((a) => sides.some((b) => (a[0] - b[0]) * (a[1] - b[1]) < 0 && Math.abs(a[0] - b[0]) > 1))) $("way").value = "-1";
  $("undo").addEventListener("click", () => desk.turn(desk.past, desk.future));
  $("redo").addEventListener("click", () => desk.turn(desk.future, desk.past));
  $("write").addEventListener("click", () => desk.write());
  $("skip").addEventListener("click", () => {
    desk.advance();
    desk.showNext();
  });
  $("grid").addEventListener("change", () => {
    desk.showsGrid = $("grid").checked;
    board.draw();
  });
  $("zoom-in").addEventListener("click", () => board.zoomTo(board.zoom * 1.5));
  $("zoom-out").addEventListener("click", () => board.zoomTo(board.zoom / 1.5));
  $("zoom-fit").addEventListener("click", () => board.whole());
  $("way").addEventListener("change", () => desk.showNext());
  $("distance").addEventListener("change", () => desk.retypedDistance($("distance")));
  for (const id of ["board", "note"]) $(id).addEventListener("change", () => desk.ask());
  $("fields").addEventListener("submit", (event) => event.preventDefault());
  $("keys-open").addEventListener("click", () => $("keys").showModal());
  keys(desk, board);
  desk.showKinds();
  desk.showFields();
  desk.changed();
  listen(
    () => {},
    () => say({ what: "The program behind this page has ended.", details: ["What was written is safe."], next_step: "start it again to go on" }),
  );
  if (!isTouched()) $("field-x").focus();
  Object.assign(window, { desk }); // for those who look inside
  document.body.dataset.ready = "true";
}

begin().catch((error) => say({ what: "The page could not start.", details: [String(error)], next_step: "load it again" }));
