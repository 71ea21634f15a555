// The first part of the start page: which lane, which folder.

import { redraw } from "./choices.js";
import { takesFiles } from "./drop.js";
import { element } from "./measures.js";
import { post } from "./server.js";

const $ = (id) => /** @type {HTMLInputElement} */ (document.getElementById(id));
const quoted = (word) => (/^[\w@%+=:,./-]+$/.test(word) ? word : `'${word.replaceAll("'", "'\"'\"'")}'`);

export class Begin {
  constructor(onOpened, fail) {
    this.onOpened = onOpened;
    this.fail = fail;
    this.content = null;
    this.lane = null; // path of the one that is chosen
    this.first = null;
    this.facts = new Map();
    this.touched = false;
    takesFiles($("new-lane"), {
      address: (file) => `api/lane_source?name=${encodeURIComponent(file.name)}&folder=${encodeURIComponent($("folder").value)}`,
      onDone: (answer) => this.mark(answer),
      many: false,
      accept: "image/*,video/*",
      button: "Choose a photo or clip",
    });
    $("lane-path").addEventListener("submit", (event) => {
      event.preventDefault();
      this.typed($("lane-typed").value.trim());
    });
    $("folder").addEventListener("input", () => {
      this.touched = true;
      this.command();
    });
    $("logs").addEventListener("change", () => this.command());
    $("open").addEventListener("click", () => this.open(false));
  }

  show(content) {
    const first = content.lanes.length ? content.lanes[0].path : null;
    if (this.content && first !== this.first) this.lane = first; // it has just been made, or named
    this.first = first;
    this.content = content;
    if (!content.lanes.some((lane) => lane.path === this.lane)) this.lane = content.lanes.length ? content.lanes[0].path : null;
    if (!this.touched) {
      $("folder").value = content.folder;
      $("logs").checked = content.logs;
    }
    this.render();
  }

  render() {
    const { lanes, folders, logbook } = this.content;
    redraw($("lanes"), ...lanes.map((lane) => this.row(lane)));
    if (!lanes.length) {
      $("lanes").replaceChildren(element("li", { class: "none" }, "No lane is known yet. Make one from a photo or clip of the empty runway, or name a lane file."));
      /** @type {HTMLDetailsElement} */ (document.getElementById("other-lane")).open = true;
    }
    redraw($("folders"), ...folders.filter((folder) => folder !== this.content.folder).slice(0, 3).map((folder) => element("button", { type: "button", "data-key": folder, onclick: () => this.choose(folder) }, folder)));
    $("logs").parentElement.title = logbook;
    this.command();
    this.ask();
  }

  row(lane) {
    const date = new Date(1000 * lane.written_s).toLocaleDateString(undefined, { year: "numeric", month: "short", day: "numeric" });
    const facts = [`${lane.marks} marks`, lane.panned ? "panned" : `${lane.size[0]} × ${lane.size[1]}`, `made ${date}`];
    return element("li", {}, element(
      "button",
      { type: "button", "data-key": lane.path, "aria-pressed": String(lane.path === this.lane), onclick: () => this.pick(lane.path) },
      lane.still ? element("img", { src: `lane/${lane.key}?v=${lane.written_s}`, alt: "", width: 160, height: 90, loading: "lazy" }) : element("span", { class: "blank" }, "no picture"),
      element("span", { class: "about" }, element("b", {}, lane.name), element("span", {}, facts.join(", ")), lane.note ? element("span", {}, lane.note) : null, element("span", { class: "path" }, lane.folder)),
    ));
  }

  choose(folder) {
    this.touched = true;
    $("folder").value = folder;
    this.command();
  }

  pick(path) {
    this.lane = path;
    this.render();
  }

  command() {
    const words = ["penult", "session", $("folder").value || "FOLDER", "--calib", this.lane || "LANE", "--stay"];
    $("open-command").textContent = [...words, ...($("logs").checked ? ["--log"] : [])].map(quoted).join(" ");
    $("open").disabled = !this.lane || !$("folder").value.trim();
  }

  async ask() {
    const lane = this.content.lanes.find((one) => one.path === this.lane);
    if (!lane) {
      $("facts").replaceChildren();
      return;
    }
    const key = `${lane.path} ${lane.written_s}`;
    if (!this.facts.has(key)) {
      $("facts").textContent = "looking how good it is";
      const answer = await fetch(`api/lane/${lane.key}`).catch(() => null);
      if (answer && answer.ok) this.facts.set(key, await answer.json());
    }
    const known = this.facts.get(key);
    if (!known || lane.path !== this.lane) return;
    $("facts").replaceChildren(
      known.good ? element("span", {}, `${lane.name} is ${known.good}.`) : element("span", {}, `${lane.name} cannot be used.`),
      ...known.faults.map((fault) => element("span", { class: "flag" }, fault)),
      element("span", { class: "same" }, "More: ", element("code", {}, known.command)),
    );
  }

  async typed(path) {
    if (!path) return;
    try {
      const content = await post("lane", { path });
      this.lane = content.lanes.length ? content.lanes[0].path : null;
      $("lane-typed").value = "";
      this.show(content);
    } catch (refusal) {
      this.fail(refusal);
    }
  }

  mark(answer) {
    $("facts").replaceChildren(element("a", { href: answer.address, target: "_blank", rel: "noopener", class: "go" }, "Click the marks: open the page"), element("span", { class: "same" }, "The same as a command: ", element("code", {}, answer.command)));
    window.open(answer.address, "_blank", "noopener");
  }

  async open(again) {
    $("open").disabled = true;
    try {
      this.onOpened(await post("open", { lane: this.lane, folder: $("folder").value.trim(), logs: $("logs").checked, again }));
      this.touched = false;
    } catch (refusal) {
      const isOther = refusal.said && refusal.said.what.includes("another lane file");
      this.fail(refusal, isOther ? element("button", { type: "button", onclick: () => this.open(true) }, "Measure them again with this lane") : null);
    }
    this.command();
  }
}
