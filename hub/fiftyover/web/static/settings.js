// Settings: each change goes up at once and says how it went beside its form; then the page shows what is so.
import { ask } from "./ask.js";
import { $, say } from "./said.js";

const STAY_MS = 1200;

async function change(path, body, said, stay = false) {
  said.textContent = say("wait");
  const answer = await ask(path, body);
  said.textContent = answer.sentence;
  if (answer.done && !stay) setTimeout(() => location.reload(), STAY_MS);
}

document.querySelectorAll("form[data-path]").forEach((form) => {
  const said = form.querySelector("[role=status]");
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const body = {};
    for (const [name, value] of new FormData(form)) {
      const field = form.elements[name];
      body[name] = field.dataset.scale ? Number(value) * Number(field.dataset.scale) : value;
    }
    change(form.dataset.path, body, said, form.hasAttribute("data-stay"));
  });
});
document.querySelectorAll("button[data-remove]").forEach((b) => b.addEventListener("click", () => {
  const body = b.dataset.to ? { to: b.dataset.to, remove: Number(b.dataset.remove) } : { remove: b.dataset.remove };
  change(b.dataset.path, body, $(b.dataset.said));
}));
