// Choosing by typing: as soon as only one thing fits what was typed, it is taken.

import { el } from "./words.js";

const PAUSE_MS = 350; // after a short-cut letter that other names also start with
const SWALLOW_MS = 500; // a word typed on after it was understood must not command the page

export class Chooser {
  constructor(dialog) {
    this.dialog = dialog;
    this.text = dialog.querySelector("input");
    this.list = dialog.querySelector("ul");
    this.text.addEventListener("input", () => this.typed());
    this.text.addEventListener("keydown", (event) => this.key(event));
    this.list.addEventListener("click", (event) => {
      const item = event.target.closest("li");
      if (item) this.take(this.shown[[...this.list.children].indexOf(item)]);
    });
    // Not "close": it arrives late, when the next question may already be open.
    dialog.addEventListener("cancel", () => this.finish(null));
    dialog.querySelector("form").addEventListener("submit", (event) => event.preventDefault());
  }

  /**
   * Ask for one of `options` ({ value, name, letter?, hint?, current? }); resolves to its value,
   * or null. `own(text)` may turn a free text into an option.
   */
  ask(title, options, { hint = "", own = null } = {}) {
    this.dialog.querySelector("h2").textContent = title;
    this.dialog.querySelector(".hint").textContent = hint;
    this.options = options;
    this.own = own;
    this.text.value = "";
    this.refresh();
    const current = this.shown.findIndex((o) => o.current);
    if (current > 0) this.point(current);
    this.dialog.showModal();
    this.text.focus();
    return new Promise((resolve) => (this.resolve = resolve));
  }

  matching(text) {
    const wanted = text.trim().toLowerCase();
    if (!wanted) return this.options;
    const starts = (o) => o.name.toLowerCase().startsWith(wanted) || o.letter === wanted;
    const words = (o) => o.name.toLowerCase().split(/[\s–-]/).some((word) => word.startsWith(wanted));
    const found = this.options.filter(starts);
    const by = found.length ? found : this.options.filter(words);
    return by.sort((one, two) => (two.letter === wanted) - (one.letter === wanted));
  }

  refresh() {
    this.shown = this.matching(this.text.value);
    const own = this.own?.(this.text.value);
    if (own) this.shown = [own];
    this.list.replaceChildren(...this.shown.map((option, i) =>
      el("li", { role: "option", id: `option-${i}`, "aria-selected": "false" },
        option.letter ? el("kbd", {}, option.letter) : null,
        option.name,
        option.hint ? el("small", {}, option.hint) : null)));
    this.point(0);
  }

  point(number) {
    this.pointed = Math.min(Math.max(0, number), this.shown.length - 1);
    [...this.list.children].forEach((item, i) => item.setAttribute("aria-selected", String(i === this.pointed)));
    this.text.setAttribute("aria-activedescendant", this.shown.length ? `option-${this.pointed}` : "");
    this.list.children[this.pointed]?.scrollIntoView({ block: "nearest" });
  }

  typed() {
    clearTimeout(this.pause);
    this.refresh();
    const typed = this.text.value.trim().toLowerCase();
    if (!typed || this.own?.(typed)) return;
    if (this.shown.length === 1) this.take(this.shown[0]);
    else if (this.shown[0]?.letter === typed) this.pause = setTimeout(() => this.take(this.shown[0]), PAUSE_MS);
  }

  key(event) {
    const by = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    if (by) {
      clearTimeout(this.pause);
      this.point(this.pointed + by);
      event.preventDefault();
    } else if (event.key === "Enter") {
      event.preventDefault();
      if (this.shown[this.pointed]) this.take(this.shown[this.pointed]);
    }
  }

  take(option) {
    this.unfinished = option.name.toLowerCase().slice(this.text.value.trim().length);
    this.swallowUntil = performance.now() + SWALLOW_MS;
    this.finish(option.value);
  }

  finish(value) {
    clearTimeout(this.pause);
    const { resolve } = this;
    this.resolve = null;
    if (this.dialog.open) this.dialog.close();
    resolve?.(value);
  }

  /** Whether a key goes on with a word that was understood before it was finished. */
  swallows(event) {
    const goesOn = this.unfinished && event.key.toLowerCase() === this.unfinished[0];
    if (!goesOn || performance.now() > this.swallowUntil) {
      this.unfinished = "";
      return false;
    }
    this.unfinished = this.unfinished.slice(1);
    this.swallowUntil = performance.now() + SWALLOW_MS;
    return true;
  }
}
