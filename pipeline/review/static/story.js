// The list: every segment and moment as a sentence, in order.

import { isMoment, placeOf } from "./timeline.js";
import { clock, el } from "./words.js";

const FIRST_PAINTED = 60;

export class Story extends EventTarget {
  constructor(list, timeline, words) {
    super();
    Object.assign(this, { list, timeline, words });
    this.filter = "all";
    this.items = new Map();
    this.current = null;
    list.addEventListener("click", (event) => {
      const item = event.target.closest("li[data-id]");
      if (item) this.dispatchEvent(new CustomEvent("place", { detail: item.dataset.id }));
    });
  }

  rows() {
    if (this.filter === "open") return this.timeline.open();
    const rows = this.timeline.rows();
    return this.filter === "moments" ? rows.filter((row) => isMoment(row) || row.note) : rows;
  }

  /** Show everything anew; a long list is finished after the first paint. */
  render() {
    cancelIdleCallback(this.rest);
    const rows = this.rows();
    this.items = new Map();
    this.list.replaceChildren(...rows.slice(0, FIRST_PAINTED).map((row) => this.item(row)));
    if (!rows.length) this.list.append(el("li", { class: "is-empty" }, "Nothing here."));
    if (rows.length > FIRST_PAINTED) {
      this.rest = requestIdleCallback(() => {
        this.list.append(...rows.slice(FIRST_PAINTED).map((row) => this.item(row)));
        this.mark(this.current, true);
      });
    }
    this.mark(this.current);
  }

  /** Change only what a correction changed. */
  update(change) {
    if (this.filter !== "all" || this.items.size < this.timeline.segments.length + this.timeline.moments.length - 50) {
      this.render();
      return;
    }
    for (const id of change.gone) {
      this.items.get(id)?.remove();
      this.items.delete(id);
    }
    const changed = [...change.segments, ...change.moments];
    if (!changed.length) return;
    const order = this.rows();
    const numbers = new Map(order.map((row, i) => [row.id, i]));
    for (const row of changed.sort((one, two) => numbers.get(two.id) - numbers.get(one.id))) {
      this.items.get(row.id)?.remove();
      const item = this.item(row);
      const after = order[numbers.get(row.id) + 1];
      this.list.insertBefore(item, after ? this.items.get(after.id) ?? null : null);
    }
    this.mark(this.current);
  }

  item(row) {
    const note = row.note ? ` — ${row.note}` : "";
    const item = el("li", { "data-id": row.id, class: isMoment(row) ? "is-moment" : "is-segment" },
      el("button", { type: "button" },
        el("time", {}, clock(placeOf(row), 1)),
        el("span", { class: "text" }, `${isMoment(row) ? "⚑ " : ""}${this.words.sentence(row)}${note}`),
        el("span", { class: "state" }, this.words.state(row))));
    this.items.set(row.id, item);
    return item;
  }

  mark(id, quiet = false) {
    this.list.querySelector("[aria-current]")?.removeAttribute("aria-current");
    const item = this.items.get(id);
    const button = item?.firstElementChild;
    button?.setAttribute("aria-current", "true");
    if (button && (id !== this.current || quiet)) keepInSight(this.list, item);
    this.current = id;
  }
}

/** Scroll the list alone; scrollIntoView would move the whole page too. */
function keepInSight(list, item) {
  const top = item.offsetTop - list.offsetTop;
  const room = list.clientHeight - item.offsetHeight;
  if (top < list.scrollTop + item.offsetHeight || top > list.scrollTop + room - item.offsetHeight) {
    list.scrollTop = top - list.clientHeight / 3;
  }
}
