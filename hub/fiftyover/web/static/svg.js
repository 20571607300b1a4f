// Parts of a drawing.
const NS = "http://www.w3.org/2000/svg";

export function part(name, attributes) {
  const e = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes)) e.setAttribute(key, value);
  return e;
}

export function add(parent, name, attributes, text) {
  const e = part(name, attributes);
  if (text !== undefined) e.textContent = text;
  parent.append(e);
  return e;
}
