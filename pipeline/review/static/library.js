// The list of bouts.

import { get, openSession } from "./api.js";
import { clock, el } from "./words.js";

const problem = document.querySelector("#problem");

try {
  await openSession();
  show(await get("/api/bouts"));
} catch (error) {
  problem.textContent = error.message;
  problem.hidden = false;
}

function show(bouts) {
  const open = bouts.filter((b) => b.counts.proposed > 0).length;
  document.querySelector("#lead").textContent = bouts.length
    ? `${count(bouts.length, "bout")}, ${open || "none"} still to look at.`
    : "No bouts yet. `matline read FILE` reads footage into this library.";
  document.querySelector("#bouts").hidden = document.querySelector("#find-line").hidden = !bouts.length;
  const rows = bouts.toReversed().map(row);
  document.querySelector("#bouts tbody").replaceChildren(...rows);
  document.querySelector("#find").addEventListener("input", ({ target }) => {
    const wanted = target.value.trim().toLowerCase().split(/\s+/);
    for (const one of rows) one.hidden = !wanted.every((word) => one.textContent.toLowerCase().includes(word));
  });
}

function row(bout) {
  const { proposed, accepted, corrected } = bout.counts;
  const all = proposed + accepted + corrected;
  const names = [bout.names.A, bout.names.B].filter(Boolean).join(" – ") || bout.title || bout.footage;
  return el("tr", {},
    el("th", { scope: "row" }, bout.reader ? el("a", { href: `/bouts/${bout.id}` }, names) : names,
      el("br"), el("small", {}, bout.has_footage ? bout.footage : `${bout.footage} (file not found)`)),
    el("td", {}, bout.event), el("td", {}, bout.date),
    el("td", { class: "number" }, clock(bout.end_s - bout.start_s)),
    el("td", {}, all
      ? el("span", {}, el("progress", { max: all, value: all - proposed, "aria-label": "Looked at" }), ` ${all - proposed} of ${all}`)
      : "not read yet"));
}

function count(number, word) {
  return `${number} ${word}${number === 1 ? "" : "s"}`;
}
