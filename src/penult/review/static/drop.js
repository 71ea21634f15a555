// Files that are dropped or chosen are copied to this machine's own folder, one after the other.

import { element } from "./measures.js";

function sent(address, file, onShare) {
  return new Promise((resolve, reject) => {
    const request = new XMLHttpRequest();
    request.open("POST", address);
    request.setRequestHeader("content-type", "application/octet-stream");
    request.upload.onprogress = (event) => event.lengthComputable && onShare(event.loaded / event.total);
    request.onerror = () => reject({ what: "the program of this page has ended, or the copy was refused", details: [], next_step: "start penult again" });
    request.onload = () => {
      let answer;
      try {
        answer = JSON.parse(request.responseText);
      } catch {
        answer = { error: { what: request.responseText || "no answer", details: [], next_step: "" } };
      }
      if (request.status < 300) resolve(answer);
      else reject(answer.error || { what: "not copied", details: [], next_step: "" });
    };
    request.send(file);
  });
}

const words = (fault) => [fault.what, ...(fault.details || [])].filter(Boolean).join(": ") + (fault.next_step ? `. Next: ${fault.next_step}` : "");

// Makes `zone` take files. `address(file)` is where each goes; `onDone(answer)` is told of each that was copied.
export function takesFiles(zone, { address, onDone, many = true, accept = "", button = "Choose clips" }) {
  const list = element("ul", { class: "copies", "aria-live": "polite" });
  const input = /** @type {HTMLInputElement} */ (element("input", { type: "file", multiple: many, accept, class: "visually-hidden", tabindex: "-1", "aria-hidden": "true" }));
  const choose = element("button", { type: "button", class: "strong", onclick: () => input.click() }, button);
  zone.append(choose, input, list);
  const queue = [];
  let works = false;

  async function work() {
    if (works) return;
    works = true;
    while (queue.length) {
      const [file, line] = queue.shift();
      try {
        const answer = await sent(address(file), file, (share) => (line.textContent = `${file.name}: copying, ${Math.round(100 * share)} %`));
        line.textContent = answer.was_there ? `${answer.file} is there already; not copied twice` : `${answer.file || file.name} copied${answer.note ? `; ${answer.note}` : ""}`;
        setTimeout(() => line.remove(), answer.note ? 30000 : 5000);
        onDone(answer);
      } catch (fault) {
        line.className = "fault";
        line.replaceChildren(words(fault), " ", element("button", { type: "button", onclick: () => line.remove() }, "OK"));
      }
    }
    works = false;
  }

  function take(files) {
    for (const file of many ? files : files.slice(0, 1)) {
      const line = element("li", {}, `${file.name}: waiting to be copied`);
      list.append(line);
      queue.push([file, line]);
    }
    work();
  }

  input.addEventListener("change", () => {
    take([...(input.files || [])]);
    input.value = "";
  });
  zone.addEventListener("dragover", (event) => {
    event.preventDefault();
    zone.classList.add("over");
  });
  zone.addEventListener("dragleave", () => zone.classList.remove("over"));
  zone.addEventListener("drop", (event) => {
    event.preventDefault();
    zone.classList.remove("over");
    take([...(event.dataTransfer ? event.dataTransfer.files : [])]);
  });
  return { take };
}

// A file that misses the zone must not replace the page.
export function keepStrayFiles() {
  for (const kind of ["dragover", "drop"]) window.addEventListener(kind, (event) => event.preventDefault());
}
