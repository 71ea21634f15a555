// The start page: lane, folder, clips, runs. News only say that something changed; everything shown comes whole from an answer.

import { beforeWords, choices, doingWords, drawnOf, redraw } from "./choices.js";
import { keepStrayFiles, takesFiles } from "./drop.js";
import { element } from "./measures.js";
import { listen, post } from "./server.js";
import { Begin } from "./start_lane.js";
import { Log, Runs } from "./start_runs.js";

const $ = (id) => document.getElementById(id);
let content = null; // what is chosen
let day = null; // the session that is open
let counted = -1; // whole results when the logbook was last asked
let changes = false; // whether another lane or folder is being chosen
let asking = false;
let again = false;

function fail(refusal, more = null) {
  const said = refusal.said || refusal || { what: "not done", details: [], next_step: "" };
  const text = [said.what, ...(said.details || [])].filter(Boolean).join(": ");
  $("said").replaceChildren(element("div", { class: "fault" }, element("p", {}, text, said.next_step ? element("span", { class: "soft" }, ` Next: ${said.next_step}`) : null), more, element("button", { type: "button", onclick: () => $("said").replaceChildren() }, "OK")));
}

const begin = new Begin((opened) => {
  changes = false;
  counted = -1;
  $("said").replaceChildren();
  choose(opened);
  refresh();
  window.scrollTo({ top: 0 });
}, fail);
const runs = new Runs(openOther, fail);
const log = new Log(runs, fail, (label) => day && tap("", { athlete: label }));

function choose(answer) {
  content = answer;
  const isOpen = content.opened && !changes;
  $("begin").hidden = Boolean(isOpen);
  $("day").hidden = !isOpen;
  document.title = content.opened ? `${content.opened.name}: penult` : "penult";
  $("name").textContent = content.opened ? content.opened.name : "penult";
  if (!isOpen) begin.show(content);
  if (!content.opened) {
    $("doing").textContent = "";
    return;
  }
  const { opened } = content;
  $("chosen").replaceChildren(
    "Lane ", element("b", {}, opened.lane), " · folder ", element("b", { title: opened.folder }, opened.folder), ` · ${opened.logs ? "kept in the logbook" : "not in the logbook"} `,
    element("button", { type: "button", onclick: () => {
      changes = true;
      choose(content);
    } }, "Another lane or folder"),
    element("span", { class: "same" }, "The same as a command: ", element("code", {}, opened.command)),
  );
}

async function refresh() {
  if (asking) {
    again = true;
    return;
  }
  asking = true;
  try {
    const answer = await fetch("api/start");
    if (answer.ok) choose(await answer.json());
    if (content && content.opened) await today();
  } catch {
    lost();
  }
  asking = false;
  if (again) {
    again = false;
    hear();
  }
}

// What happens to clips changes nothing of what is chosen.
async function hear() {
  if (!content || !content.opened || changes) {
    refresh();
    return;
  }
  if (asking) {
    again = true;
    return;
  }
  asking = true;
  await today().catch(lost);
  asking = false;
  if (again) {
    again = false;
    hear();
  }
}

async function today() {
  const answer = await fetch("api/session");
  if (answer.ok) show(await answer.json());
}

function show(answer) {
  const isSame = day !== null && drawnOf(day) === drawnOf(answer);
  day = answer;
  $("doing").textContent = doingWords(day);
  if (!isSame) draw();
  const whole = day.runs.filter((run) => run.pictures).length;
  if (whole !== counted && !day.doing.file) {
    counted = whole;
    log.show();
  }
}

// The newest run in a few words: what happened, against what, how sure.
function newestWords() {
  const run = day.runs.find((one) => one.file === day.newest);
  if (!run) return [];
  const before = day.runs.find((one) => one.file === day.before);
  const changed = before && day.changes.find((change) => change.key.startsWith("penultimate_hip_drop"));
  const told = run.error.length ? `No result: ${run.error.join(" ")}` : run.finding || "No hip drop in this run; the other numbers are below.";
  return [
    element("h2", {}, `Newest: ${run.shown}`, run.athlete ? `, ${run.athlete}` : null),
    element("p", {}, told, changed ? ` Change from ${beforeWords(run, before)}: ${changed.said} ${changed.text}${changed.apart ? "" : ": no clear difference"}.` : null),
    element("a", { href: "session", class: "go" }, "Show the newest large"),
  ];
}

function draw() {
  redraw($("latest"), ...newestWords());
  redraw($("next"), element("h2", {}, "The clips to come are"), ...choices(day, "", (what) => tap("", what)), element("p", { class: "soft" }, "Kept from clip to clip until you tap something else; each run can be put right below. Somebody new: only who agreed to it; for minors their guardians."));
  runs.show(day);
  $("drop").classList.toggle("begun", day.runs.length > 0);
}

async function tap(file, what) {
  try {
    show(await post("tap", { file, ...what, also_next: !file }));
    const dialog = /** @type {HTMLDialogElement} */ ($("other"));
    if (dialog.open && file) openOther(day.runs.find((run) => run.file === file));
  } catch (refusal) {
    fail(refusal);
  }
}

function openOther(run) {
  const dialog = /** @type {HTMLDialogElement} */ ($("other"));
  redraw(dialog, element("h2", { id: "other-title" }, `${run.shown}: athlete, kind, mats`), ...choices(day, run.file, (what) => tap(run.file, what)), element("p", { class: "soft" }, "It is measured again with what you tap; that takes a few seconds."), element("form", { method: "dialog" }, element("button", { class: "strong" }, "Done")));
  if (!dialog.open) dialog.showModal();
}

function lost() {
  $("doing").textContent = "the program of this page has ended; what was measured is safe: start penult again";
  document.body.dataset.lost = "true";
}

takesFiles($("drop"), { address: (file) => `api/drop?name=${encodeURIComponent(file.name)}`, onDone: () => hear(), accept: "video/*,.mov,.mp4,.m4v,.avi,.mkv,.webm,.mpg,.mpeg,.3gp,.mts" });
keepStrayFiles();
$("end").addEventListener("click", async () => {
  const isBusy = day && (day.doing.file || day.waiting.length);
  if (isBusy && !window.confirm("A clip is being measured. End all the same? It is measured again next time.")) return;
  await post("end", {}).catch(() => null);
  lost();
});
listen(hear, lost);
window.addEventListener("focus", () => (!content || !content.opened || changes) && refresh()); // a lane may have been made meanwhile
setInterval(() => {
  if (day && day.doing.file && !document.body.dataset.lost) {
    day.doing.left_s = Math.max(1, day.doing.left_s - 1);
    day.doing.left_all_s = Math.max(1, day.doing.left_all_s - 1);
    $("doing").textContent = doingWords(day);
  }
}, 1000);
refresh().then(() => log.show());
