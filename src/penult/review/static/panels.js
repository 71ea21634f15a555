// The panels beside the clip: put right, clip, done. They only ask; the desk does.

import { element } from "./measures.js";

const PHASES = [
  ["?", "not certain"],
  ["run", "running step"],
  ["takeoff", "take-off, running on"],
  ["jump", "jump"],
  ["bound", "bound"],
  ["hop", "hop"],
  ["step", "step"],
  ["skiphop", "skip, hop"],
  ["skipstep", "skip, step"],
];
const SIDES = [["left", "Left"], ["right", "Right"]];

const button = (text, onclick, attributes = {}) => element("button", { type: "button", onclick, ...attributes }, ...[].concat(text));
// times are kept in UTC; a coach reads the clock on the wall
export const localTime = (utc) => {
  const at = new Date(utc);
  return Number.isNaN(at.getTime()) ? utc : at.toLocaleString(undefined, { year: "numeric", month: "2-digit", day: "2-digit", hour: "2-digit", minute: "2-digit" });
};
const key = (name) => element("kbd", { "aria-hidden": "true" }, name);

export class RightPanel {
  constructor(panel, desk) {
    this.panel = panel;
    this.desk = desk;
    this.stretch = { first: null, last: null };
  }

  render() {
    const { desk, panel } = this;
    const id = document.activeElement && panel.contains(document.activeElement) ? document.activeElement.id : "";
    const contact = desk.motion.contact(desk.chosen);
    panel.replaceChildren(this.contactTool(contact), this.addTool(), this.jointTool(), this.legsTool());
    if (id) {
      const again = /** @type {HTMLButtonElement} */ (document.getElementById(id));
      if (again && !again.disabled) again.focus({ preventScroll: true });
    }
  }

  contactTool(contact) {
    const { desk } = this;
    const list = element(
      "select",
      { id: "contact-list", onchange: (event) => desk.choose(Number(event.target.value), null, true) },
      ...desk.data.contacts.map((c) =>
        element("option", { value: c.number, selected: contact && c.number === contact.number }, `${c.name}, ${c.told}${c.by_hand ? " (by hand)" : ""}`),
      ),
    );
    const head = [element("h2", {}, "Contact"), element("label", {}, element("span", { class: "visually-hidden" }, "Which contact"), list)];
    if (!contact) return element("div", { class: "tool" }, ...head);
    const rows = ["touchdown", "toe_off"].map((instant, i) => this.instantTool(contact, instant, i));
    const feet = element(
      "div",
      { class: "row", role: "group", "aria-label": "Foot" },
      element("span", {}, "Foot"),
      ...SIDES.map(([foot, word]) =>
        button([word], () => desk.correct({ kind: "foot-changed", near_frame: near(contact), foot, everywhere: false }), {
          id: `foot-${foot}`,
          "aria-pressed": String(contact.told === foot),
          disabled: contact.told === foot,
        }),
      ),
      button("Exchange all feet", () => desk.correct({ kind: "foot-changed", near_frame: near(contact), foot: other(contact.foot), everywhere: true }), { id: "feet-exchange" }),
    );
    const remove = button(["Delete contact ", key("Del")], () => desk.deleteContact(), { id: "contact-delete", disabled: desk.data.contacts.length < 2 });
    const phase = element(
      "select",
      { id: "contact-phase", onchange: (event) => desk.correct({ kind: "contact-relabelled", near_frame: near(contact), phase: event.target.value }) },
      ...PHASES.map(([value, word]) => element("option", { value, selected: contact.phase === value, disabled: value === "?" }, word)),
    );
    const into = element("label", { class: "row" }, element("span", {}, "Takes off into"), phase);
    return element("div", { class: "tool", id: "contact-tool" }, ...head, ...rows, feet, into, element("div", { class: "row" }, remove));
  }

  instantTool(contact, instant, i) {
    const { desk } = this;
    const word = instant === "touchdown" ? "Touchdown" : "Toe-off";
    const step = (by, sign) =>
      button(sign, () => desk.strip.nudge(contact.number, instant, by), { id: `${instant}-${by < 0 ? "earlier" : "later"}`, "aria-label": `${word} ${sign} frame` });
    return element(
      "div",
      { class: "instant" },
      element("span", {}, word),
      element(
        "div",
        { class: "row" },
        step(-1, "−1"),
        step(1, "+1"),
        button(["Here ", key(i ? "O" : "T")], () => desk.setHere(instant), {
          id: `${instant}-here`,
          title: i ? "This is the last picture in which the shoe bears" : "This is the first picture in which the shoe bears",
        }),
        element("span", { class: "soft", id: `${instant}-at` }, `${contact.span_s[i].toFixed(4)} s`),
      ),
    );
  }

  addTool() {
    const { desk } = this;
    return element(
      "div",
      { class: "tool" },
      element("h2", {}, "A contact that was missed"),
      element("p", { class: "soft" }, "Begins at the frame shown and lasts a tenth of a second; then move its ends."),
      element("div", { class: "row" }, ...SIDES.map(([foot, word]) => button(`Add ${word.toLowerCase()} contact`, () => desk.addContact(foot), { id: `add-${foot}` }))),
    );
  }

  jointTool() {
    const { desk } = this;
    const isOn = desk.mode === "joints";
    const joints = element(
      "select",
      { id: "joint-list", onchange: (event) => desk.choose_joint(event.target.value) },
      ...[...desk.motion.joints.keys()].map((name) => element("option", { value: name, selected: name === desk.joint }, name.replace("_", " "))),
    );
    return element(
      "div",
      { class: "tool" },
      element("h2", {}, "Joints"),
      element("p", { class: "soft" }, "Drag a joint on the picture; its neighbours in time follow smoothly."),
      element("div", { class: "row" }, button(["Move joints ", key("J")], () => desk.setMode(isOn ? "look" : "joints"), { id: "joints-mode", "aria-pressed": String(isOn) })),
      isOn ? element("label", {}, "Joint ", joints) : null,
      isOn
        ? element(
            "div",
            { class: "row", role: "group", "aria-label": "Move the joint by a pixel" },
            ...[["←", -1, 0, "left"], ["↑", 0, -1, "up"], ["↓", 0, 1, "down"], ["→", 1, 0, "right"]].map(([sign, x, y, word]) =>
              button(sign, () => desk.nudgeJoint(x, y), { id: `joint-${word}`, "aria-label": `One pixel ${word}` }),
            ),
            button("Set", () => desk.dropNudged(), { id: "joint-set", disabled: !desk.nudged }),
          )
        : null,
    );
  }

  legsTool() {
    const { desk, stretch } = this;
    const field = (which, word) => {
      const input = element("input", {
        type: "number",
        id: `legs-${which}`,
        min: 0,
        max: desk.count - 1,
        step: 1,
        value: stretch[which] === null ? "" : stretch[which],
        onchange: (event) => {
          stretch[which] = event.target.value === "" ? null : Number(event.target.value);
          this.render();
        },
      });
      const here = button("Here", () => {
        stretch[which] = desk.frame;
        this.render();
      }, { id: `legs-${which}-here`, "aria-label": `Here: ${word.toLowerCase()} frame is the one shown` });
      return element("div", { class: "row" }, element("label", {}, `${word} frame `, input), here);
    };
    const isReady = stretch.first !== null && stretch.last !== null && stretch.last >= stretch.first;
    return element(
      "div",
      { class: "tool" },
      element("h2", {}, "Left and right leg changed places"),
      field("first", "First"),
      field("last", "Last"),
      element("div", { class: "row" }, button("Swap legs", () => this.swap(), { id: "legs-swap", disabled: !isReady })),
    );
  }

  async swap() {
    const { first, last } = this.stretch;
    const isDone = await this.desk.correct({ kind: "legs-swapped", first_frame: first, last_frame: last });
    if (isDone) this.stretch = { first: null, last: null };
    this.render();
  }
}

export class ClipPanel {
  constructor(panel, desk) {
    this.panel = panel;
    this.desk = desk;
  }

  render() {
    const { panel } = this;
    const id = document.activeElement && panel.contains(document.activeElement) ? document.activeElement.id : "";
    panel.replaceChildren(this.warnings(), this.kindTool(), this.rateTool(), this.matTool(), this.athleteTool());
    if (id) {
      const again = /** @type {HTMLButtonElement} */ (document.getElementById(id));
      if (again) again.focus({ preventScroll: true });
    }
  }

  warnings() {
    const rows = this.desk.data.warnings.map((w) => element("p", { class: "warning" }, w.text));
    return element("div", { class: "tool" }, element("h2", {}, "What to know"), ...(rows.length ? rows : [element("p", {}, "No warnings.")]));
  }

  kindTool() {
    const { desk } = this;
    const kinds = ["full approach", "short approach", "mat drill", "run-through"];
    const input = element("input", { type: "text", id: "kind", list: "kinds", maxlength: 80, value: desk.data.clip.kind });
    const set = () => desk.correct({ kind: "kind-set", word: input.value.trim() });
    return form("Kind of clip", set, element("label", {}, element("span", { class: "visually-hidden" }, "Kind of clip"), input), element("datalist", { id: "kinds" }, ...kinds.map((value) => element("option", { value }))), submit("kind-set"));
  }

  rateTool() {
    const { desk } = this;
    const { rate, rate_from: from } = desk.data.clip;
    const input = element("input", { type: "number", id: "rate", min: 5, max: 2000, step: "any", value: Number(rate.toFixed(2)), required: true });
    const set = () => desk.correct({ kind: "capture-rate-set", capture_rate_hz: Number(input.value) });
    return form("Capture rate", set, element("label", {}, input, " frames a second"), submit("rate-set"), element("p", { class: "soft" }, `now from: ${from}`));
  }

  matTool() {
    const { desk } = this;
    const said = new Map(desk.data.clip.mats.map((m) => [m.number, m.thickness_m]));
    const contacts = desk.data.contacts.filter((c) => c.number <= 0);
    const fields = contacts.map((c) => {
      const value = said.get(c.number);
      return [c.number, element("input", { type: "number", id: `mat${c.number}`, min: 0, max: 50, step: 0.1, value: value ? Number((100 * value).toFixed(1)) : "" }), c.name];
    });
    const set = () => {
      const mats = fields
        .map(([number, input]) => ({ number, thickness_m: Number(input.value) / 100 }))
        .filter((mat) => mat.thickness_m > 0);
      return desk.correct({ kind: "mats-set", mats });
    };
    return form("Mats", set, ...fields.map(([, input, name]) => element("label", {}, input, ` cm under the ${name} contact`)), submit("mats-set"));
  }

  athleteTool() {
    const { desk } = this;
    const input = element("input", { type: "number", id: "run", min: 1, max: 100, step: 1, value: 1, required: true });
    const set = () => desk.correct({ kind: "athlete-picked", run: Number(input.value) });
    const pick = button("Point at the athlete", () => desk.setMode(desk.mode === "pick" ? "look" : "pick"), { id: "athlete-point", "aria-pressed": String(desk.mode === "pick") });
    return form("Another athlete", set, element("p", { class: "soft" }, "Looks at the film again, which takes a while. Corrections of contacts, joints and legs made so far are left out."), element("label", {}, "Run number ", input), element("div", { class: "row" }, submit("run-set"), pick));
  }
}

export class DonePanel {
  constructor(panel, desk) {
    this.panel = panel;
    this.desk = desk;
  }

  render() {
    const { history, undone, is_written: isWritten } = this.desk.data;
    const list = (entries, name) => element("ol", { class: `done-list ${name}` }, ...entries.map((e) => element("li", {}, e.text, e.made_at ? element("span", { class: "soft" }, ` ${localTime(e.made_at)}`) : null)));
    this.panel.replaceChildren(
      element("h2", {}, "Done by hand"),
      history.length ? list([...history].reverse(), "") : element("p", { class: "soft" }, "Nothing yet. Every correction is saved at once, beside the result."),
      undone.length ? element("h2", {}, "Taken back") : "",
      undone.length ? list([...undone].reverse(), "undone") : "",
      element("p", { class: "soft" }, isWritten ? "The files of the result hold exactly this." : "The files of the result do not hold this yet: use “Update files”, or analyse the clip again."),
    );
  }
}

export const near = (contact) => (contact.span_frames[0] + contact.span_frames[1]) / 2;
export const other = (foot) => (foot === "left" ? "right" : "left");

const submit = (id) => element("button", { type: "submit", id }, "Set");

function form(title, onsubmit, ...children) {
  return element(
    "form",
    {
      class: "tool",
      onsubmit: (event) => {
        event.preventDefault();
        onsubmit();
      },
    },
    element("h2", {}, title),
    ...children,
  );
}
