// What is here, how far the work is, the scoreboard: small views made anew on each change.

import { clock, el } from "./words.js";

const percent = new Intl.NumberFormat("en", { style: "percent" });

export function showHere(card, { here, meant, words, moment, reasons, act }) {
  card.dataset.top = here?.top ?? "";
  const parts = here ? segmentParts(here, words, reasons) : [el("p", { class: "what" }, "No segment here")];
  if (moment) parts.push(momentPart(moment, moment === meant, words, act));
  card.replaceChildren(...parts);
}

function segmentParts(here, words, reasons) {
  const why = here.state === "proposed" && reasons?.length ? el("p", { class: "why" }, `Look at: ${reasons.join("; ")}.`) : null;
  return [
    el("p", { class: "what" }, words.position(here.position)),
    el("p", {}, ...top(here, words)),
    el("p", {}, `${clock(here.start_s, 2)} to ${clock(here.end_s, 2)} · ${words.state(here)}`),
    why,
    here.note ? el("p", {}, `Note: ${here.note}`) : null,
  ].filter(Boolean);
}

function top(here, words) {
  if (here.top) return [el("span", { class: `athlete-${here.top}` }, words.athlete(here.top)), ` ${words.topWord(here.position)}`];
  return [words.hasTop(here.position) ? "who is on top is not said" : "nobody on top"];
}

function momentPart(moment, isMeant, words, act) {
  const buttons = [el("button", { type: "button", onclick: () => act("remove-moment") }, "Not so ", el("kbd", {}, "del"))];
  if (moment.state === "proposed") {
    buttons.unshift(el("button", { type: "button", onclick: () => act("accept-moment") }, "Accept ", el("kbd", {}, isMeant ? "a" : "⇧a")));
  }
  return el("div", { class: isMeant ? "moment-here is-meant" : "moment-here" },
    el("span", {}, `⚑ ${words.momentSentence(moment)}, ${clock(moment.peak_s, 1)} · ${words.state(moment)}`), ...buttons);
}

export function showLegend(target, words) {
  target.replaceChildren("Hip height: ",
    el("span", { class: "athlete-A" }, `A ${words.bout.names.A}`.trim()), " full line, ",
    el("span", { class: "athlete-B" }, `B ${words.bout.names.B}`.trim()), " dashed. Lanes: who is on top. Bars at ?: doubt.");
}

export function showSums(target, { timeline, bout, audit, spent }) {
  const all = [...timeline.segments, ...timeline.moments];
  const count = (state) => all.filter((one) => one.state === state).length;
  const seen = `${all.length - count("proposed")} of ${all.length} looked at`; // as the library says it
  const lines = [`${seen}: ${count("accepted")} accepted, ${count("corrected")} corrected, ${count("proposed")} still proposed.`];
  if (audit) lines.push(auditSentence(audit));
  if (spent?.seconds > 0) {
    const minutes = (bout.end_s - bout.start_s) / 60;
    const each = (number) => (number / minutes).toFixed(1);
    lines.push(`${clock(spent.seconds)} of your time so far: ${each(spent.seconds)} s, ${each(spent.keys)} keys and ${each(spent.clicks)} clicks a minute of footage.`);
  }
  target.replaceChildren(...lines.map((line) => el("p", {}, line)));
}

function auditSentence({ answered, right, low, high }) {
  if (!answered) return "How good the confident proposals are is not known yet; it shows as you look.";
  return `Of ${answered} confident proposals checked at random, ${right} were right: ${percent.format(low)} to ${percent.format(high)} of all such are (95 % interval).`;
}

/** Links to other cameras' views of the same fight, each at the moment that is shown here. */
export function showCameras(target, cameras, time) {
  target.hidden = cameras.length === 0;
  const links = cameras.map(({ id, title, offset_s }) => {
    const there = () => `/bouts/${id}#at=${Math.max(0, time() + offset_s).toFixed(2)}`;
    const link = el("a", { href: there() }, title);
    // Late, so that it is the moment shown when it is followed, by mouse, key or menu.
    for (const when of ["pointerdown", "focus", "click"]) link.addEventListener(when, () => (link.href = there()));
    return link;
  });
  target.replaceChildren("Other cameras, at this moment: ", ...links.flatMap((link, i) => (i ? [" · ", link] : [link])));
}

/** The scoreboard by hand beside the proposed points: the two are never mixed. */
export function showScore(target, { lines, proposed, words, go, remove }) {
  const byHand = lines.map((line) => ({ ...line, hand: line }));
  const rows = [...byHand, ...(proposed?.points ?? [])].sort((one, two) => one.time_s - two.time_s);
  if (!rows.length) return target.replaceChildren();
  const sum = (list, letter) => list.filter((l) => l.athlete === letter).reduce((total, l) => total + l.points, 0);
  const totals = (list) => `A ${sum(list, "A")}, B ${sum(list, "B")}`;
  target.replaceChildren(
    el("table", { class: "score-table" },
      el("caption", { class: "visually-hidden" }, "Points by hand and proposed"),
      el("thead", {}, el("tr", {}, ...["Time", "For", "By hand", "Proposed", "What"].map((h) => el("th", { scope: "col" }, h)))),
      el("tbody", {}, ...rows.map((row) => scoreRow(row, words, go, remove))),
      el("tfoot", {}, el("tr", {}, el("th", { scope: "row" }, "Sum"), el("td"),
        el("td", {}, totals(lines)), el("td", {}, totals(proposed?.points ?? [])), el("td")))),
    proposed ? el("p", { class: "hint" }, `${proposed.caution} Rules: ${proposed.rules}, ${proposed.edition}.`) : "");
}

function scoreRow(row, words, go, remove) {
  const away = row.hand
    ? el("button", { type: "button", onclick: () => remove(row.hand), "aria-label": `Remove ${row.points} points at ${clock(row.time_s, 1)}` }, "×")
    : null;
  return el("tr", {},
    el("td", {}, el("button", { type: "button", onclick: () => go(row.time_s) }, clock(row.time_s, 1))),
    el("td", {}, words.short(row.athlete)),
    el("td", {}, row.hand ? String(row.points) : ""), el("td", {}, row.hand ? "" : String(row.points)),
    el("td", {}, row.what, away));
}
