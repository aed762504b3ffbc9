// What the keys and buttons do: each asks the human for what is missing, then makes one correction.

import { get, patch, put } from "./api.js";
import { matching } from "./chooser.js";
import { isMoment, nextIn } from "./timeline.js";
import { $, clock } from "./words.js";

const LETTERS = {
  standing: "s", takedown: "t", closed_guard: "c", open_guard: "o", half_guard: "h", side_control: "d",
  knee_on_belly: "k", mount: "m", back_control: "b", turtle: "u", north_south: "n",
  leg_entanglement: "l", scramble: "x", apart: "a", unknown: "?",
};

/** The segment at a time, or a word to the human that there is none. */
function segmentAt(page, time) {
  const segment = page.timeline.at(time);
  if (!segment) page.say("There is no segment here.");
  return segment;
}

async function relabel(page) {
  const { time } = page;
  const here = segmentAt(page, time);
  if (!here) return;
  const options = page.words.positions.map((p) => ({
    value: p.key, name: p.name, letter: LETTERS[p.key], hint: p.meaning, current: p.key === here.position.split("/")[0],
  }));
  const own = (text) => {
    const [key, finer] = text.split("/", 2).map((part) => part.trim());
    const [match] = key && finer ? matching(options, key) : [];
    return match ? { value: `${match.value}/${finer}`, name: `${match.name}, ${finer}` } : null;
  };
  const hint = "Type to narrow the list; Enter takes what is marked. A label of your own goes after a slash: h/knee shield";
  const position = await page.chooser.ask("Position", options, { hint, own });
  if (position) page.enqueue(() => label(page, time, position));
}

async function label(page, time, position) {
  const segment = segmentAt(page, time);
  if (!segment) return;
  if (position === segment.position) await page.correct("accept", { segment: segment.id });
  else await page.correct("relabel", { segment: segment.id, position });
}

async function setTop(page, time, nobody) {
  const here = segmentAt(page, time);
  if (!here) return;
  const top = nobody ? null : here.top === "A" ? "B" : "A";
  await page.correct("set_top", { segment: here.id, top });
}

async function merge(page, time) {
  const border = page.timeline.borderNear(time);
  const { segments } = page.timeline;
  const number = border && segments.indexOf(border.segment) - (border.edge === "start" ? 1 : 0);
  const [first, second] = [segments[number], segments[number + 1]];
  if (!first || !second) return page.say("There is no border between two segments near here.");
  const keep = page.timeline.at(time)?.id === first.id ? "first" : "second";
  await page.correct("merge", { segment: first.id, keep });
}

export async function moveBorder(page, border, time) {
  if (!border) return page.say("There is no border near here.");
  await page.correct("move_border", { segment: border.segment.id, edge: border.edge, time_s: time });
}

/** Move the nearest border by one sample, and the playhead with it. */
async function nudge(page, time, direction) {
  const border = page.timeline.borderNear(time);
  if (!border) return page.say("There is no border near here.");
  const next = nextIn(await sampleTimes(page), border.time, direction);
  if (next === undefined) return;
  page.player.seek(next);
  await moveBorder(page, border, next);
}

export async function sampleTimes(page) {
  page.samples ??= (await get(`${page.path}/samples`)).time_s;
  return page.samples;
}

export async function snapped(page, time) {
  const samples = await sampleTimes(page);
  return samples.reduce((best, s) => (Math.abs(s - time) < Math.abs(best - time) ? s : best), samples[0] ?? time);
}

async function addMoment(page) {
  const kinds = page.words.moments.flatMap(({ key, name }) => [
    { value: key, name }, { value: `${key}_attempt`, name: page.words.moment(`${key}_attempt`), hint: "reached, not held" }]);
  const time = page.time;
  const hint = "Type to narrow the list; Enter takes what is marked.";
  const kind = await page.chooser.ask("Moment", kinds, { hint });
  if (!kind) return;
  const athlete = await page.chooser.ask(`${page.words.moment(kind)}: by whom?`, [
    { value: "A", name: `A ${page.bout.names.A}`.trim() }, { value: "B", name: `B ${page.bout.names.B}`.trim() },
    { value: "none", name: "nobody in particular" }], { hint });
  const by = athlete === "none" ? null : athlete;
  if (athlete) page.enqueue(() => page.correct("add_moment", { kind, peak_s: time, athlete: by }));
}

async function onMoment(page, time, action) {
  const moment = page.momentAt(time);
  if (!moment) return page.say("There is no moment here.");
  await page.correct(action, { moment: moment.id });
}

function writeNote(page) {
  const here = segmentAt(page, page.time);
  if (!here) return;
  const field = { name: "text", label: `${clock(here.start_s, 1)} ${page.words.segment(here)}`, kind: "long", value: here.note, hint: "Ctrl Enter saves." };
  page.form.show("Note", [field], ({ text }) => page.correct("note", { segment: here.id, text }));
}

/** Undo or redo; what was imported in one go is many corrections, so ask. */
async function step(page, which, together) {
  if (!together) return;
  const title = which === "undo" ? "The last change was an import. Undo it?" : "The next change was an import. Make it again?";
  const times = together === 1 ? 1 : await page.chooser.ask(title, [
    { value: null, name: "no, leave it as it is" },
    { value: together, name: `all ${together} corrections of it` },
    { value: 1, name: `${which === "undo" ? "the last" : "the first"} of them alone` }]);
  if (times) await page.step(which, times);
}

async function setBound(page, time, edge) {
  const { start_s, end_s } = page.timeline.bounds ?? page.bout;
  await page.correct("set_bounds", { start_s, end_s, [edge]: time });
}

export function editDetails(page) {
  const { names, we, event, date, ruleset } = page.bout;
  const fields = [
    { name: "A", label: "Athlete A", value: names.A }, { name: "B", label: "Athlete B", value: names.B },
    { name: "we", label: "We are", kind: [["nobody", "not said"], ["A", "athlete A"], ["B", "athlete B"]], value: we ?? "nobody" },
    { name: "event", label: "Event", value: event }, { name: "date", label: "Date", kind: "date", value: date },
    { name: "ruleset", label: "Rule set for proposed points", kind: page.words.rules.map((r) => [r.key, r.name]), value: ruleset },
  ];
  page.form.show("Names and rules", fields, async ({ A, B, ...rest }) => {
    Object.assign(page.bout, await patch(page.path, { names: { A, B }, ...rest }));
    page.showTitle();
    page.story.render();
    page.changed();
    page.loadWork();
  });
}

function editScore(page) {
  const time = page.time;
  const fields = [
    { name: "athlete", label: "Points for", kind: [["A", page.words.athlete("A")], ["B", page.words.athlete("B")]] },
    { name: "points", label: "Points", kind: "number", value: "2" },
    { name: "what", label: "For what (optional)" },
  ];
  page.form.show(`Scoreboard at ${clock(time, 1)}`, fields, async ({ athlete, points, what }) => {
    const line = { time_s: time, athlete, points: Number(points), what };
    await keepScore(page, [...(page.score ?? []), line].sort((one, two) => one.time_s - two.time_s));
  });
}

export async function keepScore(page, lines) {
  page.score = (await put(`${page.path}/score`, { lines })).lines;
  page.showSums();
}

const correcting = (run) => Object.assign(run, { corrects: true });

export const ACTS = {
  play: (page) => page.player.toggle(),
  pause: (page) => page.player.pause(),
  faster: (page) => page.player.shuttleBy(1),
  slower: (page) => page.player.shuttleBy(-1),
  slow: (page) => page.player.changeRate(-1),
  fast: (page) => page.player.changeRate(1),
  back: (page) => page.player.seek(page.time - 1),
  on: (page) => page.player.seek(page.time + 1),
  "back-far": (page) => page.player.seek(page.time - 10),
  "on-far": (page) => page.player.seek(page.time + 10),
  "back-frame": (page) => page.player.step(-1).catch((error) => page.say(error.message)),
  "next-frame": (page) => page.player.step(1).catch((error) => page.say(error.message)),
  "previous-border": (page) => page.goTo(page.timeline.borders(), -1),
  "next-border": (page) => page.goTo(page.timeline.borders(), 1),
  "previous-moment": (page) => page.goToMoment(-1),
  "next-moment": (page) => page.goToMoment(1),
  "next-doubt": (page) => page.nextDoubt(),
  "last-place": (page) => page.places.length && page.player.seek(page.places.pop()),
  loop: (page) => page.toggleLoop(),
  draw: (page) => {
    page.drawing = !page.drawing;
    $("draw").setAttribute("aria-pressed", String(page.drawing));
    page.drawSkeletons();
  },
  "zoom-in": (page) => page.map.zoom(0.6),
  "zoom-out": (page) => page.map.zoom(1 / 0.6),
  "zoom-all": (page) => page.map.showAll(),
  order: (page) => {
    page.byWorth = !page.byWorth;
    $("order").value = page.byWorth ? "worth" : "time";
  },
  help: () => $("help").showModal(),
  note: writeNote,
  score: editScore,
  accept: correcting(async (page, time, target) => {
    const row = page.meantAt(time, target);
    if (row?.state !== "proposed") return;
    if (isMoment(row)) await page.correct("accept_moment", { moment: row.id });
    else await page.correct("accept", { segment: row.id });
  }),
  "accept-next": correcting(async (page, time, target) => {
    await ACTS.accept(page, time, target);
    page.nextDoubt();
  }),
  relabel,
  moment: addMoment,
  top: correcting((page, time) => setTop(page, time, false)),
  "nobody-top": correcting((page, time) => setTop(page, time, true)),
  split: correcting(async (page, time) => {
    const here = segmentAt(page, time);
    if (here) await page.correct("split", { segment: here.id, time_s: time });
  }),
  merge: correcting(merge),
  "border-here": correcting((page, time) => moveBorder(page, page.timeline.borderNear(time), time)),
  "border-earlier": correcting((page, time) => nudge(page, time, -1)),
  "border-later": correcting((page, time) => nudge(page, time, 1)),
  swap: correcting((page, time) => page.correct("swap_athletes", { from_s: time })),
  "accept-moment": correcting((page, time) => onMoment(page, time, "accept_moment")),
  "remove-moment": correcting((page, time) => onMoment(page, time, "remove_moment")),
  "bout-start": correcting((page, time) => setBound(page, time, "start_s")),
  "bout-end": correcting((page, time) => setBound(page, time, "end_s")),
  undo: correcting((page) => step(page, "undo", page.timeline.undoes)),
  redo: correcting((page) => step(page, "redo", page.timeline.redoes)),
};
