// Requests for a change. A restarted hub has new tokens: then the page fetches its own again and tries once more.
import { ROOT, meta, say } from "./said.js";

let token = meta("fiftyover-token");

async function freshToken() {
  const answer = await fetch(location.pathname);
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  const found = page.querySelector('meta[name="fiftyover-token"]');
  if (found) token = found.content;
  return Boolean(found);
}

async function send(path, body) {
  return fetch(ROOT + path, {
    method: "POST",
    headers: { "content-type": "application/json", "x-fiftyover-token": token },
    body: JSON.stringify(body),
  });
}

// {done, sentence}; never throws.
export async function ask(path, body = {}, unreached = say("no-answer")) {
  try {
    let answer = await send(path, body);
    if (answer.status === 401) return { done: false, sentence: say("signed-out") };
    if (answer.status === 403 && (await freshToken())) answer = await send(path, body);
    return await answer.json();
  } catch {
    return { done: false, sentence: unreached };
  }
}

export const mark = (kind, data = {}) =>
  ask("/mark", { kind, ...data }, kind === "stop-heat" ? say("stop-not-delivered") : say("no-answer"));
