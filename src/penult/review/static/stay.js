// A session while it runs. News only say that something changed; everything shown comes whole from one answer.

import { beforeWords, choices, doingWords, drawnOf, redraw } from "./choices.js";
import { element } from "./measures.js";
import { listen, post } from "./server.js";

const $ = (id) => document.getElementById(id);
let shown = null; // what stands on the page
let latest = null; // what is known
let asking = false;
let again = false;

const picture = (run, contact, instant) => `picture/${encodeURIComponent(run.file)}/${contact + 100}/${instant}?v=${run.pictures ? 1 : 0}`;
async function refresh() {
  if (asking) {
    again = true;
    return;
  }
  asking = true;
  try {
    const answer = await fetch("api/session");
    if (answer.ok) take(await answer.json());
  } catch {
    lost();
  }
  asking = false;
  if (again) {
    again = false;
    refresh();
  }
}

function take(content) {
  latest = content;
  status();
  // who reads further down is not moved: the new run waits until it is asked for
  const isReading = window.scrollY > 160 && shown && shown.newest !== latest.newest;
  const button = $("new-run");
  button.hidden = !isReading;
  if (isReading) {
    button.textContent = `New run: ${latest.newest} – show it`;
    return;
  }
  render();
}

function status() {
  $("doing").textContent = doingWords(latest);
  $("name").textContent = latest.name;
  $("back").hidden = !latest.start;
  document.title = `${latest.name}: ${latest.runs.length} runs`;
}

const run = (file) => latest.runs.find((one) => one.file === file) || null;

function render() {
  const isSame = shown !== null && drawnOf(shown) === drawnOf(latest);
  shown = latest;
  if (isSame) return;
  const newest = run(latest.newest);
  $("newest").replaceChildren(...(newest ? now(newest) : [empty()]));
  renderSet(newest);
  const rest = latest.runs.slice(0, -1).reverse();
  $("rest-title").hidden = rest.length === 0;
  $("runs").replaceChildren(...rest.map(listed));
}

const empty = () => element("p", { class: "empty" }, "No run yet. Copy a clip into the folder of this session: it is measured as soon as it is whole, and stands here.");

// What a coach reads from where he stands: the numbers of the first screen.
const HEADLINES = ["penultimate_hip_drop_m", "penultimate_hip_drop_above_support_m", "contact_time_s:-1", "contact_time_s:0", "takeoff_angle_deg"];

function who(one) {
  return [one.athlete || "athlete not set", one.kind || "kind not set", one.mats].filter(Boolean).join(", ");
}

function now(newest) {
  const best = run(latest.best);
  const number = latest.runs.length;
  const isKnown = newest.athlete || newest.kind;
  const label = element("p", { class: "label" },
    isKnown ? who(newest) : `Newest run, ${newest.mats || "athlete and kind not set"}`,
    " ", element("span", { class: "file" }, `${newest.shown}, run ${number} here`, best && best.file === newest.file && number > 1 ? `, ${latest.best_words}` : null, isKnown ? null : ", athlete and kind not set"),
    " ", newest.rows.length && newest.pictures ? element("a", { class: "file", href: `result/${encodeURIComponent(newest.file)}`, target: "_blank", rel: "noopener" }, "whole result") : null,
    " ", newest.rows.length && newest.pictures ? element("a", { class: "file", href: `film/${encodeURIComponent(newest.file)}`, target: "_blank", rel: "noopener" }, "film") : null,
    ...newest.warnings.map((w) => element("span", { class: "flag" }, w)));
  if (newest.error.length) return [label, element("p", { class: "told" }, `No result: ${newest.error.join(" ")}`)];
  const before = run(latest.before);
  const bestIsOther = best && best.file !== newest.file;
  const still = element("figure", {}, newest.pictures ? element("img", { src: picture(newest, -1, "lowest"), alt: `Newest run, penultimate contact at the lowest hip: ${newest.finding}`, width: 900, height: 700 }) : element("div", { class: "none" }, "the picture follows"));
  const isBoth = bestIsOther && before && before.file === best.file;
  const small = element("div", { class: "small" }, before ? figure(before, isBoth ? `the run before, and the ${latest.best_words}` : "the run before") : null, bestIsOther && !isBoth ? figure(best, latest.best_words) : null);
  return [
    label,
    newest.finding ? element("p", { class: "told" }, newest.finding) : null,
    element("div", { class: "now" }, element("div", {}, still, small), table(newest, before, bestIsOther ? best : null)),
  ].filter(Boolean);
}

function figure(one, words) {
  const image = one.pictures ? element("img", { src: picture(one, -1, "lowest"), alt: `${words}: penultimate contact at the lowest hip`, width: 900, height: 700 }) : element("div", { class: "none" }, "no picture");
  return element("figure", {}, image, element("figcaption", {}, element("b", {}, words), one.shown));
}

function table(newest, before, best) {
  const heads = [element("th", { scope: "col" }, element("span", { class: "visually-hidden" }, "measure")), element("th", { scope: "col" }, "newest")];
  if (before) heads.push(element("th", { scope: "col" }, `change from ${beforeWords(newest, before)}`));
  if (best) heads.push(element("th", { scope: "col", class: "best" }, latest.best_words.split(",")[0]));
  heads.push(element("th", { scope: "col", class: "drawn" }, element("span", { class: "visually-hidden" }, "drawn on one scale")));
  const body = newest.rows.map((row) => {
    const of = (one) => (one ? one.rows.find((r) => r.key === row.key) || null : null);
    const change = latest.changes.find((c) => c.key === row.key);
    const cells = [element("th", { scope: "row" }, row.said)];
    cells.push(row.reason ? element("td", { class: "why" }, `– ${row.reason}`) : element("td", { class: "value" }, row.value, element("small", {}, ` ± ${row.u95}${row.unit}`)));
    if (before) cells.push(element("td", { class: change && change.apart ? "other apart" : "other" }, change ? change.text : "–"));
    if (best) cells.push(element("td", { class: "other best" }, of(best) && !of(best).reason ? `${of(best).value} ± ${of(best).u95}${of(best).unit}` : "–"));
    cells.push(element("td", { class: "drawn" }, drawn([["best", of(best)], ["before", of(before)], ["newest", row]])));
    return element("tr", { class: HEADLINES.includes(row.key) ? "headline" : null }, ...cells);
  });
  return element("table", { class: "big" }, element("thead", {}, element("tr", {}, ...heads)), element("tbody", {}, ...body));
}

function drawn(rows) {
  const known = rows.filter(([, row]) => row && row.at !== null);
  const svgNs = "http://www.w3.org/2000/svg";
  const svg = document.createElementNS(svgNs, "svg");
  svg.setAttribute("viewBox", "0 0 160 34");
  svg.setAttribute("aria-hidden", "true");
  if (!known.length) return svg;
  const low = Math.min(...known.map(([, r]) => r.at - r.half));
  const high = Math.max(...known.map(([, r]) => r.at + r.half));
  const x = (value) => 6 + (148 * (value - low)) / Math.max(high - low, 1e-9);
  const add = (name, attributes) => {
    const made = document.createElementNS(svgNs, name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, String(value));
    svg.append(made);
  };
  known.forEach(([kind, row]) => {
    const y = { best: 7, before: 17, newest: 27 }[kind];
    add("path", { class: `run ${kind}`, d: `M${x(row.at - row.half)} ${y}H${x(row.at + row.half)}` });
    add("circle", { class: `dot ${kind}`, cx: x(row.at), cy: y, r: kind === "newest" ? 4 : 3 });
  });
  return svg;
}

function listed(one) {
  const image = one.pictures ? element("img", { src: picture(one, -1, "lowest"), alt: "", width: 900, height: 700, loading: "lazy" }) : element("div", { class: "none" });
  const numbers = one.rows.slice(0, 5).map((row) => element("span", {}, `${row.said} `, element("b", {}, row.reason ? "–" : `${row.value} ± ${row.u95}${row.unit}`)));
  const told = one.error.length ? [element("p", {}, `No result: ${one.error.join(" ")}`)] : [element("div", { class: "numbers" }, ...numbers)];
  const buttons = element("div", { class: "row" },
    element("button", { type: "button", onclick: () => openOther(one) }, "athlete, kind, mats"),
    one.pictures && !one.error.length ? element("a", { href: `result/${encodeURIComponent(one.file)}`, target: "_blank", rel: "noopener" }, "whole result") : null,
    one.pictures && !one.error.length ? element("a", { href: `film/${encodeURIComponent(one.file)}`, target: "_blank", rel: "noopener" }, "film") : null,
    ...one.warnings.map((w) => element("span", { class: "flag" }, w)));
  return element("li", {}, image, element("div", {}, element("p", {}, element("span", { class: "who" }, who(one)), ` ${one.shown}`), ...told, buttons));
}

function renderSet(newest) {
  const file = newest ? newest.file : "";
  redraw($("set"), element("h2", {}, newest ? "This run, and the ones to come" : "The runs to come"), ...choices(latest, file, (what) => tap(file, what, true)));
}

function openOther(one) {
  const dialog = /** @type {HTMLDialogElement} */ ($("other"));
  dialog.replaceChildren(element("h2", { id: "other-title" }, `${one.shown}: athlete, kind, mats`), ...choices(latest, one.file, (what) => tap(one.file, what, false)), element("form", { method: "dialog" }, element("button", { class: "strong" }, "Done")));
  if (!dialog.open) dialog.showModal();
}

async function tap(file, what, alsoNext) {
  try {
    take(await post("tap", { file, ...what, also_next: alsoNext }));
    const dialog = /** @type {HTMLDialogElement} */ ($("other"));
    if (dialog.open && file) openOther(run(file));
    $("said").replaceChildren();
  } catch (refusal) {
    const said = refusal.said || { what: "not saved", details: [], next_step: "" };
    $("said").replaceChildren(element("div", { class: "fault" }, element("p", {}, [said.what, ...said.details].join(": "))));
  }
}

function lost() {
  $("doing").textContent = "the program of this page has ended; what was measured is safe: start penult session again";
}

$("new-run").onclick = () => {
  window.scrollTo({ top: 0 });
  $("new-run").hidden = true;
  render();
};
listen(refresh, lost);
window.addEventListener("scroll", () => {
  if (window.scrollY <= 160 && shown && latest && shown.version !== latest.version) take(latest);
}, { passive: true });
setInterval(() => {
  if (latest && latest.doing.file) {
    latest.doing.left_s = Math.max(1, latest.doing.left_s - 1);
    latest.doing.left_all_s = Math.max(1, latest.doing.left_all_s - 1);
    status();
  }
}, 1000);
refresh();
