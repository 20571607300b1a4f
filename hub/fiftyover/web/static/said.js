// The words of the page, from words.py; {figures} are put in here.
const WORDS = JSON.parse(document.getElementById("words").textContent);

export const $ = (id) => document.getElementById(id);
export const meta = (name) => document.querySelector(`meta[name="${name}"]`).content;
export const ROOT = meta("fiftyover-root"); // of this smoker's pages, where there are several
export const MAY_START = meta("fiftyover-role") === "cook";

export const say = (key, values = {}) => WORDS[key].replace(/\{(\w+)\}/g, (_, name) => values[name]);

export const clock = (ms) => new Date(ms).toLocaleTimeString([], { hour: "numeric", minute: "2-digit" });

export const hours = (s) => `${Math.floor(s / 3600)}:${String(Math.floor((s % 3600) / 60)).padStart(2, "0")}`;

export function element(name, attributes = {}, text = "", ...children) {
  const e = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) if (value !== null) e.setAttribute(key, value);
  if (text !== "") e.textContent = text;
  e.append(...children);
  return e;
}

// Change the text only when it is another: a live region must not speak the same again.
export function put(id, text) {
  const e = $(id);
  if (e && e.textContent !== text) e.textContent = text;
}
