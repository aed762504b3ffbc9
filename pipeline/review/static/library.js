// The list of bouts.

import { get, openSession } from "./api.js";
import { clock, el } from "./words.js";

const problem = document.querySelector("#problem");
const SPOTS = { elevation: "Elevations", scoring: "Scoring moments", unsure: "Look first at" };

try {
  await openSession();
  const [bouts, night] = await Promise.all([get("/api/bouts"), get("/api/night")]);
  show(bouts);
  if (night) showNight(night);
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
  document.querySelector("#to-report").hidden = !bouts.some(lookedAt);
  const rows = bouts.toReversed().map(row);
  document.querySelector("#bouts tbody").replaceChildren(...rows);
  document.querySelector("#find").addEventListener("input", ({ target }) => {
    const wanted = target.value.trim().toLowerCase().split(/\s+/);
    for (const one of rows) one.hidden = !wanted.every((word) => one.textContent.toLowerCase().includes(word));
  });
}

/** What the last night made of each file, in the server's order: where a look pays most first. */
function showNight({ at, ended, total, files }) {
  const when = new Date(at).toLocaleString(undefined, { dateStyle: "medium", timeStyle: "short" });
  document.querySelector("#night-total").textContent = `${when} · ${total}`;
  const hint = document.querySelector("#night-hint");
  hint.hidden = ended;
  hint.textContent = "Still at work, or broken off: the same command goes on with what is left.";
  document.querySelector("#night-files").replaceChildren(...files.map(nightLine));
  document.querySelector("#night").hidden = false;
}

function nightLine({ name, became, facts, bouts, spots }) {
  const links = bouts.flatMap(({ id, title }, i) => [i ? ", " : "", el("a", { href: `/bouts/${id}` }, title)]);
  const said = facts[0].toUpperCase() + facts.slice(1);
  return el("li", { class: became === "failed" ? "problem" : null },
    ...(links.length ? links : [name]), links.length ? ` (${name}): ` : ": ", said,
    ...bouts.flatMap(({ id, title }) => spotLines(spots.filter((spot) => spot.bout === id), bouts.length > 1 && title)));
}

/** Links that open a bout a little before something, elevations and scoring moments first. */
function spotLines(spots, title) {
  return Object.entries(SPOTS).flatMap(([why, name]) => {
    const links = spots.filter((spot) => spot.why === why).flatMap((spot, i) => [
      i ? ", " : "",
      el("a", { href: `/bouts/${spot.bout}#at=${spot.at_s.toFixed(2)}` }, `${clock(spot.time_s)} ${spot.what}`),
    ]);
    return links.length ? [el("p", { class: "spots" }, `${title ? `${title}, ${name.toLowerCase()}` : name}: `, ...links)] : [];
  });
}

function row(bout) {
  const { proposed, accepted, corrected } = bout.counts;
  const all = proposed + accepted + corrected;
  const names = [bout.names.A, bout.names.B].filter(Boolean).join(" – ") || bout.title || bout.footage;
  return el("tr", {},
    el("th", { scope: "row" }, bout.reader ? el("a", { href: `/bouts/${bout.id}` }, names) : names,
      el("br"), el("small", {}, bout.has_footage ? bout.footage : `${bout.footage} (file not found)`),
      el("small", { class: "narrow" }, [bout.event, bout.date].filter(Boolean).join(" · "))),
    el("td", {}, bout.event), el("td", {}, bout.date),
    el("td", { class: "number" }, clock(bout.end_s - bout.start_s)),
    el("td", {}, all
      ? el("span", {}, el("progress", { max: all, value: all - proposed, "aria-label": "Looked at" }), ` ${all - proposed} of ${all}`,
        ...(lookedAt(bout) ? [" · ", el("a", { href: `/report?bout=${bout.id}`, "aria-label": `Report of ${names}` }, "report")] : []))
      : "not read yet"));
}

function lookedAt({ counts }) {
  return counts.accepted + counts.corrected > 0;
}

function count(number, word) {
  return `${number} ${word}${number === 1 ? "" : "s"}`;
}
