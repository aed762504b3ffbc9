// Choosing by typing: what is typed narrows a list, Enter takes what is marked. Until then every
// key is the list's own, however slowly it is typed.

import { el } from "./words.js";

export class Chooser {
  constructor(dialog) {
    this.dialog = dialog;
    this.text = dialog.querySelector("input");
    this.list = dialog.querySelector("ul");
    this.text.addEventListener("input", () => this.refresh());
    this.text.addEventListener("keydown", (event) => this.key(event));
    this.list.addEventListener("click", (event) => {
      const item = event.target.closest("li");
      if (item) this.finish(this.shown[[...this.list.children].indexOf(item)].value);
    });
    // A click beside the text must not take the keys away from it.
    dialog.addEventListener("mousedown", (event) => event.target !== this.text && event.preventDefault());
    // Not "close": it arrives late, when the next question may already be open.
    dialog.addEventListener("cancel", () => this.finish(null));
    // What a phone's keyboard sends for Enter.
    dialog.querySelector("form").addEventListener("submit", (event) => {
      event.preventDefault();
      this.takePointed();
    });
  }

  /**
   * Ask for one of `options` ({ value, name, letter?, hint?, current? }); resolves to its value,
   * or null. `own(text)` may turn a free text into an option.
   */
  ask(title, options, { hint = "", own = null } = {}) {
    this.dialog.querySelector("h2").textContent = title;
    Object.assign(this, { options, hint, own });
    this.text.value = "";
    this.refresh();
    const current = this.shown.findIndex((o) => o.current);
    if (current > 0) this.point(current);
    this.dialog.showModal();
    this.text.focus();
    return new Promise((resolve) => (this.resolve = resolve));
  }

  refresh() {
    const { value } = this.text;
    const own = this.own?.(value);
    this.shown = own ? [own] : matching(this.options, value);
    this.list.replaceChildren(...this.shown.map((option, i) =>
      el("li", { role: "option", id: `option-${i}`, "aria-selected": "false" },
        option.letter ? el("kbd", {}, option.letter) : null,
        option.name,
        option.hint ? el("small", {}, option.hint) : null)));
    const said = this.shown.length ? this.hint : `Nothing here is called “${value.trim()}”.`;
    this.dialog.querySelector(".hint").textContent = said;
    this.point(0);
  }

  point(number) {
    this.pointed = Math.min(Math.max(0, number), this.shown.length - 1);
    [...this.list.children].forEach((item, i) => item.setAttribute("aria-selected", String(i === this.pointed)));
    this.text.setAttribute("aria-activedescendant", this.shown.length ? `option-${this.pointed}` : "");
    this.list.children[this.pointed]?.scrollIntoView({ block: "nearest" });
  }

  key(event) {
    if (event.isComposing) return;
    const by = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (by) {
      this.point(this.pointed + by);
      event.preventDefault();
    } else if (event.key === "Enter") {
      event.preventDefault();
      if (!event.repeat) this.takePointed(); // held from the question before, it doesn't answer this one
    }
  }

  takePointed() {
    const option = this.shown[this.pointed];
    if (option) this.finish(option.value);
  }

  finish(value) {
    const { resolve } = this;
    this.resolve = null;
    if (this.dialog.open) this.dialog.close();
    resolve?.(value);
  }
}

/** Options that a text may mean: by their letter, then by how they begin, then by any of their words. */
export function matching(options, text) {
  const wanted = plain(text);
  if (!wanted) return options;
  const rank = (option) => {
    const name = plain(option.name);
    if (option.letter === wanted) return 0;
    if (name.startsWith(wanted)) return 1;
    const words = name.split(" ");
    return wanted.split(" ").every((part) => words.some((word) => word.startsWith(part))) ? 2 : 3;
  };
  return options.filter((option) => rank(option) < 3).sort((one, two) => rank(one) - rank(two));
}

/** "North–South" → "north south": case and punctuation are nobody's concern; "?" is a letter here. */
const plain = (text) => text.toLowerCase().replace(/[^\p{L}\p{N}?]+/gu, " ").trim();
