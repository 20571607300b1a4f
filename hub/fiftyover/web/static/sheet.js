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

// A number typed, as `to` makes it.
const number = (title, step, to) => show(title, (done) => {
  const input = element("input", { type: "number", step, inputmode: "decimal", "aria-label": title, id: "typed" });
  const wrong = element("p", { role: "alert" });
  const form = element("form", {}, "", input, wrong, element("button", { class: "big" }, say("enter")));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    if (input.value === "") wrong.textContent = say("not-a-number");
    else done(to(Number(input.value)));
  });
  return [form];
});

// A temperature in the shown unit, as °C; a weight in lb or kg, as kg.
export const temperature = (title) => number(title, "0.1", (value) => Math.round(fromShown(value) * 100) / 100);
const KG_PER_LB = 0.45359237; // exact
export const weight = () => {
  const pounds = unitName() === "F";
  return number(say("kg", { unit: pounds ? "lb" : "kg" }), "0.01", (value) => (pounds ? value * KG_PER_LB : value));
};

export const readTitle = (chub) => say("read-by-hand", { chub, unit: unitName() });
