// Athlete, kind and mats, each set with one tap: on the page of a running session and on the start page.

import { element } from "./measures.js";

const CONTACTS = { "0": "take-off", "-1": "penultimate", "-2": "third-last", "-3": "fourth-last" };

export const matsWords = (typed) => (typed === "" ? "no mats" : typed.split(";").map((one) => {
  const [number, metres] = one.split("=");
  return `${CONTACTS[number.trim()] || `contact ${number.trim()}`} ${Math.round(1000 * Number(metres)) / 10} cm`;
}).join(" + "));

function current(content, file) {
  const tapped = file ? content.taps[file] || {} : content.next;
  const one = content.runs.find((run) => run.file === file) || null;
  return {
    athlete: tapped.athlete ?? (one ? one.athlete : ""),
    kind: tapped.kind ?? (one ? one.kind : ""),
    mats: tapped.mats ?? null,
  };
}

// One row of buttons a question; `onTap` gets {athlete|kind|mats: value}.
export function choices(content, file, onTap) {
  const is = current(content, file);
  const groups = [
    ["athlete", "Athlete", content.athletes, (v) => v, "new label"],
    ["kind", "Kind", content.kinds, (v) => v, "another kind"],
    ["mats", "Mats", content.mats, matsWords, "such as penultimate 5 cm"],
  ];
  return groups.map(([name, title, values, words, hint]) => {
    const buttons = values.map((value) => element("button", { type: "button", "data-key": `${name}:${value}`, "aria-pressed": is[name] === value ? "true" : "false", onclick: () => onTap({ [name]: value }) }, words(value)));
    const input = element("input", { type: "text", "aria-label": `${title}: ${hint}`, placeholder: hint, maxlength: 100, "data-key": `${name}:input` });
    const form = element("form", { onsubmit: (event) => {
      event.preventDefault();
      const typed = input.value.trim();
      input.value = "";
      if (typed) onTap({ [name]: typed });
    } }, input);
    return element("div", { class: "choice", role: "group", "aria-label": title }, element("span", { "aria-hidden": "true" }, title), ...buttons, form);
  });
}

// Draws a block anew and leaves the focus, and what is being typed, where they were.
export function redraw(block, ...children) {
  const active = /** @type {HTMLInputElement} */ (document.activeElement);
  const key = active && block.contains(active) ? active.dataset.key : null;
  const typed = active && active.tagName === "INPUT" ? active.value : null;
  block.replaceChildren(...children.filter((child) => child !== null && child !== undefined && child !== false));
  const keyed = /** @type {HTMLInputElement[]} */ ([...block.querySelectorAll("[data-key]")]);
  const back = key && keyed.find((e) => e.dataset.key === key);
  if (!back) return;
  if (typed !== null && back.tagName === "INPUT" && back.type !== "checkbox") back.value = typed;
  back.focus({ preventScroll: true });
}

// Against what a run stands: whose run before, and whether it was of another kind or on other mats.
export function beforeWords(newest, before) {
  const whose = newest.athlete ? `${newest.athlete}'s run before` : "the run before";
  const other = [before.kind !== newest.kind ? "another kind" : null, before.mats !== newest.mats ? "other mats" : null].filter(Boolean);
  return other.length ? `${whose} (${other.join(", ")})` : whose;
}

export function leftWords(seconds) {
  if (seconds < 90) return `${Math.max(1, Math.round(seconds))} s`;
  return `${Math.round(seconds / 60)} min`;
}

// What is being worked on and the time left, in one line.
export function doingWords(content) {
  const { doing, waiting, coming } = content;
  const parts = [];
  if (doing.file) parts.push(`measuring ${doing.file}: ${doing.what}, about ${leftWords(doing.left_s)} left`);
  else if (doing.what) parts.push(doing.what);
  if (waiting.length) parts.push(`${waiting.length} waiting, all done in about ${leftWords(doing.left_all_s)}`);
  if (coming.length) parts.push(`${coming.join(", ")} still being copied`);
  return parts.join(" · ") || "waiting for the next clip";
}

// What of a session is drawn, as a text to be compared: what is being worked on is shown apart, so that nothing is drawn anew under a finger.
export function drawnOf(content) {
  const { runs, newest, before, best, best_words, changes, next, taps, athletes, kinds, mats } = content;
  return JSON.stringify([runs, newest, before, best, best_words, changes, next, taps, athletes, kinds, mats]);
}
