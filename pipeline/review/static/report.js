// The report: filters in the address, the report itself in a frame as high as it is long.

import { get, openSession } from "./api.js";
import { $, clock, el } from "./words.js";

const form = $("asked");
const paper = $("paper");
let latest = 0;

try {
  await openSession();
  const [bouts, words] = await Promise.all([get("/api/bouts"), get("/api/words")]);
  fill(bouts, words.rules);
  take(new URLSearchParams(location.search));
  form.addEventListener("change", show);
  form.addEventListener("submit", (event) => event.preventDefault());
  window.addEventListener("popstate", () => { take(new URLSearchParams(location.search)); load(); });
  $("print").addEventListener("click", () => paper.contentWindow.print());
  paper.addEventListener("load", fit);
  window.addEventListener("resize", fit);
  await load();
} catch (error) {
  $("problem").textContent = error.message;
  $("problem").hidden = false;
}

/** Offer what there is: no filter can be asked for that fits nothing by itself. */
function fill(bouts, rules) {
  const read = bouts.filter((b) => b.reader);
  const known = (of) => [...new Set(read.flatMap(of))].filter(Boolean).sort((a, b) => a.localeCompare(b));
  const people = known((b) => [b.names.A, b.names.B]).map((name) => [name, name]);
  const ruleName = new Map(rules.map(({ key, name }) => [key, name]));
  offer("bout", "all", read.map((b) => [b.id, b.title]));
  offer("athlete", "our side", people);
  offer("opponent", "anyone", people);
  offer("event", "any", known((b) => [b.event]).map((name) => [name, name]));
  offer("ruleset", "any", known((b) => [b.ruleset]).map((key) => [key, ruleName.get(key) ?? key]));
}

function offer(name, none, options) {
  form.elements[name].replaceChildren(new Option(none, ""), ...options.map(([value, text]) => new Option(text, value)));
}

function take(asked) {
  for (const input of form.elements) {
    if (input.type === "checkbox") input.checked = asked.get(input.name) === "true";
    else input.value = asked.get(input.name) ?? "";
  }
}

function query() {
  return new URLSearchParams([...new FormData(form)].filter(([, value]) => value)).toString();
}

function show() {
  history.pushState(null, "", `/report?${query()}`);
  load();
}

async function load() {
  const asked = query();
  const turn = ++latest;
  paper.classList.add("waiting");
  try {
    const choice = await get(`/api/report/choice?${asked}`);
    if (turn !== latest) return;
    $("said").replaceChildren(...sentence(choice));
    $("save").href = `/api/report?${asked}`;
    $("tables").href = `/api/report/tables?${asked}`;
    // Not by `src`: that would add a step to the browser's history.
    paper.contentWindow.location.replace(`/api/report?${asked}`);
    paper.hidden = $("takes").hidden = false;
  } catch (error) {
    if (turn !== latest) return;
    $("said").textContent = error.message;
    paper.hidden = $("takes").hidden = true;
  }
}

function sentence({ bouts, studied_s, left_out_s, left_out_moments }) {
  const what = `${bouts} bout${bouts === 1 ? "" : "s"}, ${clock(studied_s)} looked at.`;
  if (left_out_s < 1 && !left_out_moments) return [what];
  const parts = [left_out_s >= 1 ? `${clock(left_out_s)} of positions` : "", left_out_moments ? `${left_out_moments} moment${left_out_moments === 1 ? "" : "s"}` : ""];
  return [what, " ", el("small", {}, `Not counted, as nobody has looked at it: ${parts.filter(Boolean).join(" and ")}.`)];
}

function fit() {
  const page = paper.contentDocument?.documentElement;
  if (!page?.querySelector("main")) return;
  paper.style.height = "0";
  paper.style.height = `${page.scrollHeight + 4}px`;
  paper.classList.remove("waiting");
}
