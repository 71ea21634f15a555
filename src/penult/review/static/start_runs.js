// The runs of the day on the start page: open, choose, compare; season and logbook below.

import { redraw } from "./choices.js";
import { element } from "./measures.js";
import { post } from "./server.js";

const $ = (id) => document.getElementById(id);
const link = (href, words) => element("a", { href, target: "_blank", rel: "noopener" }, words);
const who = (run) => [run.athlete || "athlete not set", run.kind || "kind not set", run.mats].filter(Boolean).join(", ");

export class Runs {
  constructor(onCorrect, fail) {
    this.onCorrect = onCorrect;
    this.fail = fail;
    this.chosen = new Set();
    this.made = null;
    this.content = null;
  }

  show(content) {
    this.content = content;
    const whole = new Set(content.runs.filter((run) => run.pictures && !run.error.length).map((run) => run.file));
    for (const file of this.chosen) if (!whole.has(file)) this.chosen.delete(file);
    const rows = [...content.runs].reverse().map((run) => this.row(run, whole.has(run.file)));
    redraw($("list"), ...(rows.length ? [this.head(), element("ol", { id: "runs" }, ...rows)] : [element("p", { class: "soft" }, "No run yet.")]));
  }

  head() {
    const n = this.chosen.size;
    const query = [...this.chosen].map((file) => `run=${encodeURIComponent(file)}`).join("&");
    return element("div", { class: "head" },
      element("h2", {}, `${this.content.runs.length} run${this.content.runs.length === 1 ? "" : "s"}, newest first`),
      element("div", { class: "row" },
        element("button", { type: "button", "data-key": "compare", disabled: n < 2, onclick: () => this.compare() }, n < 2 ? "Compare: choose two or more" : `Compare ${n}`),
        n > 1 ? link(`look?${query}`, "side by side, frame by frame") : null),
      this.made ? element("p", { class: "made" }, link(this.made.address, `Open the ${this.made.name}`), ...this.made.said.slice(0, 2).map((said) => element("span", {}, said)), element("span", { class: "same" }, "The same as a command: ", element("code", {}, this.made.command))) : null);
  }

  row(run, isWhole) {
    const box = element("input", { type: "checkbox", "data-key": `choose:${run.file}`, "aria-label": `choose ${run.shown} to compare`, disabled: !isWhole, onchange: () => {
      if (this.chosen.has(run.file)) this.chosen.delete(run.file);
      else this.chosen.add(run.file);
      this.show(this.content);
    } });
    box.checked = this.chosen.has(run.file);
    const drops = run.rows.filter((row) => row.key.startsWith("penultimate_hip_drop")).concat(run.rows.filter((row) => row.key.startsWith("contact_time_s") || row.key === "takeoff_angle_deg"));
    const numbers = drops.map((row) => element("span", {}, `${row.said} `, element("b", {}, row.reason ? "–" : `${row.value} ± ${row.u95}${row.unit}`)));
    const told = run.error.length ? element("p", { class: "error" }, `No result: ${run.error.join(" ")}`) : element("p", { class: "numbers" }, ...numbers);
    return element("li", {},
      element("label", { class: "box" }, box),
      element("div", {},
        element("p", {}, element("button", { type: "button", class: "who", "data-key": `set:${run.file}`, title: "set or correct athlete, kind, mats", onclick: () => this.onCorrect(run) }, who(run)), ` ${run.shown}`),
        told,
        element("p", { class: "row" },
          isWhole ? link(`result/${encodeURIComponent(run.file)}`, "whole result") : null,
          isWhole ? link(`film/${encodeURIComponent(run.file)}`, "film") : null,
          isWhole ? link(`look?run=${encodeURIComponent(run.file)}`, "look frame by frame, put right") : null,
          !isWhole && !run.error.length ? element("span", { class: "soft" }, "pictures and film follow") : null,
          ...run.warnings.map((w) => element("span", { class: "flag" }, w)))));
  }

  async compare() {
    await this.make("comparison", () => post("compare", { runs: [...this.chosen] }));
  }

  async make(name, work) {
    try {
      this.made = { name, ...(await work()) };
      window.open(this.made.address, "_blank", "noopener");
      if (this.content) this.show(this.content);
      return this.made;
    } catch (refusal) {
      this.fail(refusal);
      return null;
    }
  }
}

// Whose season, and what is written down by hand.
export class Log {
  constructor(runs, fail, onAthlete) {
    this.runs = runs;
    this.fail = fail;
    this.onAthlete = onAthlete;
    this.said = null;
  }

  async show() {
    const answer = await fetch("api/log").catch(() => null);
    if (!answer || !answer.ok) return;
    const content = await answer.json();
    $("log").hidden = false;
    const counts = ["clip", "session", "tape", "note"].map((name) => [name, content.counts[name] || 0]).filter(([, n]) => n).map(([name, n]) => `${n} ${{ tape: "tape result" }[name] || name}${n === 1 ? "" : "s"}`);
    const span = content.first ? `, ${content.first === content.last ? content.first : `${content.first} to ${content.last}`}` : "";
    redraw($("log-content"),
      element("p", {}, counts.length ? `${counts.join(", ")}${span}.` : "The logbook is empty. It fills with the runs of a day that keeps it.", " ", element("span", { class: "same" }, "The same as a command: ", element("code", {}, content.command))),
      this.said ? element("p", { class: "made" }, this.said.address ? link(this.said.address, "Open the season") : null, ...[].concat(this.said.said || []).map((text) => element("span", {}, text)), element("span", { class: "same" }, "The same as a command: ", element("code", {}, this.said.command))) : null,
      element("ul", { id: "athletes" }, ...content.athletes.map((one) => this.athlete(one))),
      element("details", { open: !content.athletes.length }, element("summary", {}, "New athlete"), this.newAthlete()));
  }

  athlete(one) {
    const tape = element("input", { type: "text", inputmode: "decimal", "data-key": `tape:${one.label}`, "aria-label": `tape-measured jump of ${one.shown} today, in metres`, placeholder: "6.45 m by tape" });
    const note = element("input", { type: "text", maxlength: 500, "data-key": `note:${one.label}`, "aria-label": `note on ${one.shown}`, placeholder: "note" });
    const form = element("form", { onsubmit: (event) => this.write(event, one.label, tape, note) }, tape, note, element("button", {}, "Write down"));
    return element("li", {}, element("b", {}, one.shown), element("span", { class: "soft" }, `${one.clips} clip${one.clips === 1 ? "" : "s"}`), element("button", { type: "button", "data-key": `season:${one.label}`, disabled: !one.clips, onclick: () => this.season(one.label) }, "Season"), form);
  }

  async write(event, athlete, tape, note) {
    event.preventDefault();
    try {
      if (tape.value.trim()) this.said = await post("tape", { athlete, distance: tape.value.trim() });
      if (note.value.trim()) this.said = await post("note", { athlete, text: note.value.trim() });
      tape.value = "";
      note.value = "";
      await this.show();
    } catch (refusal) {
      this.fail(refusal);
    }
  }

  async season(athlete) {
    const made = await this.runs.make("season", () => post("season", { athlete }));
    if (made) this.said = made;
    await this.show();
  }

  newAthlete() {
    const label = element("input", { type: "text", required: true, maxlength: 60, "aria-label": "label of the athlete", placeholder: "label, such as A1", "data-key": "new:label" });
    const height = element("input", { type: "text", inputmode: "decimal", "aria-label": "standing height in metres, if known", placeholder: "height, 1.72 m", "data-key": "new:height" });
    const sex = element("select", { "aria-label": "body's mass table", "data-key": "new:sex" }, element("option", { value: "" }, "sex not said"), element("option", { value: "female" }, "female"), element("option", { value: "male" }, "male"));
    return element("form", { onsubmit: async (event) => {
      event.preventDefault();
      try {
        this.said = { said: "written", ...(await post("athlete", { athlete: label.value, height: height.value.trim(), sex: /** @type {HTMLSelectElement} */ (sex).value })) };
        this.onAthlete(label.value.trim());
        label.value = "";
        height.value = "";
        await this.show();
      } catch (refusal) {
        this.fail(refusal);
      }
    } }, label, height, sex, element("button", {}, "Add"), element("p", { class: "soft" }, "A label is enough; it need not be a name. Agreed to being filmed? For minors their guardians agree."));
  }
}
