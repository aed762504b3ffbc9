// One small form for everything that needs a few words: names, notes, the scoreboard.

import { el } from "./words.js";

export class Form {
  constructor(dialog) {
    this.dialog = dialog;
    this.fields = dialog.querySelector("#form-fields");
    this.problem = dialog.querySelector("#form-problem");
    dialog.querySelector("#form-cancel").addEventListener("click", () => dialog.close());
    dialog.querySelector("form").addEventListener("submit", (event) => this.submit(event));
    dialog.addEventListener("keydown", (event) => {
      if (event.key !== "Enter") return;
      if (event.repeat) event.preventDefault(); // held down, it saves once
      else if (event.ctrlKey || event.metaKey) this.submit(event);
    });
  }

  /**
   * Show a form. `fields`: { name, label, kind ("text", "long", "date" or a list of [value, text]), value }.
   * `save(values)` may throw; its sentence is shown and the form stays.
   */
  show(title, fields, save) {
    this.save = save;
    this.dialog.querySelector("h2").textContent = title;
    this.problem.textContent = "";
    this.fields.replaceChildren(...fields.map(field));
    this.dialog.showModal();
    this.fields.querySelector("input, textarea, select")?.focus();
  }

  async submit(event) {
    event.preventDefault();
    const inputs = [...this.fields.querySelectorAll("[name]")];
    try {
      await this.save(Object.fromEntries(inputs.map((input) => [input.name, input.value])));
      this.dialog.close();
    } catch (error) {
      this.problem.textContent = error.message;
    }
  }
}

function field({ name, label, kind = "text", value = "", hint = "" }) {
  return el("label", { class: "field" }, el("span", {}, label), input(name, kind, value), hint ? el("span", { class: "hint" }, hint) : null);
}

function input(name, kind, value) {
  if (Array.isArray(kind)) {
    return el("select", { name }, ...kind.map(([one, text]) => el("option", { value: one, selected: one === value }, text)));
  }
  const made = kind === "long" ? el("textarea", { name, maxlength: 4000 }) : el("input", { name, type: kind, maxlength: 200, autocomplete: "off" });
  made.value = value;
  return made;
}
