// Speaks with the server: data, changes, and the news that keep several pages of one result together.
// Addresses are relative: a page may stand at the root of its server or below it.

export class Refusal extends Error {
  constructor(status, content) {
    const said = (content && content.error) || { what: "the server does not answer", details: [], next_step: "" };
    super(said.what);
    this.status = status;
    this.said = said;
    this.content = content;
  }
}

export const LOST = new Refusal(0, {
  error: {
    what: "the program of this page has ended",
    details: ["what was saved before is safe", "nothing more can be saved"],
    next_step: "start penult review again",
  },
});

async function answered(answer) {
  const content = await answer.json().catch(() => null);
  if (!answer.ok) throw new Refusal(answer.status, content);
  return content;
}

export async function load(clip) {
  return answered(await fetch(`api/clip/${clip}`));
}

export async function post(name, body) {
  let answer;
  try {
    answer = await fetch(`api/${name}`, {
      method: "POST",
      headers: { "content-type": "application/json" },
      body: JSON.stringify(body),
    });
  } catch {
    throw LOST;
  }
  return answered(answer);
}

export function listen(onNews, onLost) {
  const source = new EventSource("news");
  source.onmessage = (event) => onNews(JSON.parse(event.data));
  source.onerror = () => onLost();
  source.onopen = () => onNews({ here: true });
  return source;
}
