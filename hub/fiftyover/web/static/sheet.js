// A sheet of large buttons over the page, for what a mark still has to ask.
import { $, element, say } from "./said.js";
import { fromShown, unitName } from "./units.js";

function show(title, fill) {
  const sheet = $("sheet");
  return new Promise((resolve) => {
    let chosen = null;
    const choose = (value) => { chosen = value; sheet.close(); };
    const back = element("button", { type: "button", class: "plain wide" }, say("cancel"));
    back.addEventListener("click", () => sheet.close());
    sheet.replaceChildren(element("h2", { id: "sheet-title" }, title), ...fill(choose), back);
    sheet.addEventListener("close", () => { sheet.replaceChildren(); resolve(chosen); }, { once: true });
    sheet.showModal();
  });
}

// choices: [[value, label], …]; the value chosen, null when the person went back.
export const choose = (title, choices) => show(title, (done) => choices.map(([value, label]) => {
  const b = element("button", { type: "button", class: "big" }, label);
  b.addEventListener("click", () => done(value));
  return b;
}));

// A temperature typed in the shown unit, as °C.
export const temperature = (title) => show(title, (done) => {
  const input = element("input", { type: "number", step: "0.1", inputmode: "decimal", "aria-label": title, id: "typed" });
  const wrong = element("p", { role: "alert" });
  const form = element("form", {}, "", input, wrong, element("button", { class: "big" }, say("enter")));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    if (input.value === "") wrong.textContent = say("not-a-number");
    else done(Math.round(fromShown(Number(input.value)) * 100) / 100);
  });
  return [form];
});

export const readTitle = (chub) => say("read-by-hand", { chub, unit: unitName() });
