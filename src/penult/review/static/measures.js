// The list of measures: each a link to its frame, its uncertainty drawn as a bar as long as it is.

const PX_PER_UNIT = { cm: 6, ms: 3, "°": 2.5, m: 300, "m/s": 40, "/s": 80, "%": 6, s: 3000, "": 300 };
const LONGEST = 56;

export function element(name, attributes = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key === "class") made.className = value;
    else if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else if (value === true) made.setAttribute(key, "");
    else if (value !== false && value !== null && value !== undefined) made.setAttribute(key, String(value));
  }
  made.append(...children.filter((child) => child !== null && child !== undefined && child !== false));
  return made;
}

export function ink(row) {
  // The interval as a bar with the value as its dot: the longer, the less sure.
  if (row.width === null) return null;
  const unit = row.unit.trim();
  const half = Math.min(Math.max(row.width * (PX_PER_UNIT[unit] || 10), 4), LONGEST);
  const ns = "http://www.w3.org/2000/svg";
  const svg = document.createElementNS(ns, "svg");
  const width = 2 * half + 4;
  svg.setAttribute("class", "ink");
  svg.setAttribute("width", String(width));
  svg.setAttribute("height", "8");
  svg.setAttribute("aria-hidden", "true");
  const line = document.createElementNS(ns, "path");
  line.setAttribute("d", `M2 1V7M2 4H${width - 2}M${width - 2} 1V7`);
  line.setAttribute("stroke", row.by_hand ? "var(--hand)" : "currentColor");
  line.setAttribute("stroke-width", "2");
  line.setAttribute("fill", "none");
  const dot = document.createElementNS(ns, "circle");
  dot.setAttribute("cx", String(width / 2));
  dot.setAttribute("cy", "4");
  dot.setAttribute("r", "3");
  dot.setAttribute("fill", "currentColor");
  svg.append(line, dot);
  return svg;
}

export class Numbers {
  constructor(panel, onChoose) {
    this.panel = panel;
    this.onChoose = onChoose;
    this.open = new Set(["main", "penultimate"]);
    this.chosen = null;
  }

  render(data) {
    const active = /** @type {HTMLElement} */ (document.activeElement);
    const focused = active && this.panel.contains(active) ? active.dataset.place : null;
    const scroll = this.panel.scrollTop;
    this.panel.replaceChildren(...data.groups.filter((g) => g.rows.length).map((group) => this.group(group)));
    this.panel.scrollTop = scroll;
    if (focused) {
      const again = this.panel.querySelector(`[data-place="${CSS.escape(focused)}"]`);
      if (again) again.focus({ preventScroll: true });
    }
  }

  group(group) {
    const list = element("ul", {}, ...group.rows.map((row) => element("li", {}, this.row(row, group.key))));
    if (group.key === "main") return element("div", { class: "group", id: "main-numbers" }, element("h2", { class: "visually-hidden" }, group.title), list);
    const byHand = group.rows.filter((row) => row.by_hand).length;
    const summary = element("summary", {}, group.title, byHand ? element("span", { class: "by-hand" }, ` ${byHand} by hand`) : null);
    const details = element("details", { class: "group", open: this.open.has(group.key) }, summary, list);
    details.addEventListener("toggle", () => {
      if (details.open) this.open.add(group.key);
      else this.open.delete(group.key);
    });
    return details;
  }

  row(row, key) {
    const place = `${key}:${row.id}`;
    const button = element(
      "button",
      {
        type: "button",
        class: `number${row.reason ? " none" : ""}`,
        "data-place": place,
        "data-measure": row.id,
        title: row.definition,
        "aria-pressed": String(this.chosen === row.id),
        disabled: row.frame === null && row.reason === "",
        onclick: () => this.onChoose(row),
      },
      element("span", { class: "words" }, row.words),
      element("span", { class: "value" }, row.text),
      ink(row),
      row.by_hand ? element("span", { class: "extra" }, element("span", { class: "by-hand" }, "by hand")) : null,
      row.reason ? element("span", { class: "extra" }, `not measured: ${row.reason}`) : null,
      row.extra ? element("span", { class: "extra" }, row.extra) : null,
    );
    return button;
  }

  mark(id) {
    this.chosen = id;
    for (const button of this.panel.querySelectorAll(".number")) {
      button.setAttribute("aria-pressed", String(button.dataset.measure === id));
    }
  }
}
