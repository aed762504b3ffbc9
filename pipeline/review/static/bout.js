// One bout: puts the parts together and turns what the human asks for into corrections.

import { get, openSession, patch, post, put } from "./api.js";
import { Chooser } from "./chooser.js";
import { Effort } from "./effort.js";
import { Form } from "./form.js";
import { helpContent, meaning } from "./keys.js";
import { BoutMap } from "./map.js";
import { Player, RATES } from "./player.js";
import { draw, Keypoints } from "./skeletons.js";
import { Story } from "./story.js";
import { showHere, showLegend, showScore, showSums } from "./cards.js";
import { nextIn, Timeline } from "./timeline.js";
import { clock, Words } from "./words.js";

const LETTERS = {
  standing: "s", takedown: "t", closed_guard: "c", open_guard: "o", half_guard: "h", side_control: "d",
  knee_on_belly: "k", mount: "m", back_control: "b", turtle: "u", north_south: "n",
  leg_entanglement: "l", scramble: "x", apart: "a", unknown: "?",
};
const COPY_POLL_MS = 1000;
const MESSAGE_MS = 6000;
const $ = (id) => document.getElementById(id);

class BoutPage {
  constructor(bout, vocabulary, state) {
    this.bout = bout;
    this.path = `/api/bouts/${bout.id}`;
    this.timeline = new Timeline(state);
    this.words = new Words(vocabulary, bout);
    this.queue = Promise.resolve();
    this.work = [];
    this.seen = new Set();
    this.places = [];
    this.drawing = true;
    this.byWorth = true;
    this.effort = new Effort(bout.id);
    this.player = new Player($("video"), $("still"), bout);
    this.map = new BoutMap($("map"), bout, this.timeline, this.words);
    this.story = new Story($("story"), this.timeline, this.words);
    this.keypoints = new Keypoints(bout.id, () => this.drawSkeletons());
    this.chooser = new Chooser($("chooser"));
    this.form = new Form($("form"));
    this.listen();
  }

  start() {
    this.showTitle();
    showLegend($("legend"), this.words);
    $("rate").replaceChildren(...RATES.map((rate) => new Option(`${rate}×`, rate, rate === 1, rate === 1)));
    $("help-keys").replaceChildren(...helpContent());
    $("keys-on").checked = localStorage.getItem("single-keys") !== "off";
    $("map").setAttribute("aria-valuemin", this.bout.start_s);
    $("map").setAttribute("aria-valuemax", this.bout.end_s);
    $("export-csv").href = `${this.path}/export.csv`;
    $("export-vtt").href = `${this.path}/export.vtt`;
    this.loadPicture().catch((error) => this.say(error.message));
    this.map.loadTrace().catch((error) => this.say(error.message));
    this.story.render();
    this.changed();
    this.player.seek(this.bout.start_s);
    this.loadRest().catch((error) => this.say(error.message));
  }

  /** Play the original, or wait for the copy that the server makes where a browser needs one. */
  async loadPicture() {
    const { state, share, problem } = await get(`${this.path}/playing`);
    $("no-picture").hidden = state === "ready";
    if (state === "ready") return this.player.load(`${this.path}/video`);
    if (state !== "making") return this.noPicture(`${problem} Correcting works without the picture.`);
    this.noPicture(`A copy that this browser can play is being made: ${Math.floor(100 * share)}%. Correcting works meanwhile.`);
    setTimeout(() => this.loadPicture().catch((error) => this.say(error.message)), COPY_POLL_MS);
  }

  /** What the first look doesn't need. */
  async loadRest() {
    const frame = get(`${this.path}/frame-size`).catch(() => null); // none where the file is gone
    const [size, score] = await Promise.all([frame, get(`${this.path}/score`), this.loadWork()]);
    if (size) this.frameSize = [size.width, size.height];
    this.score = score.lines;
    this.showSums();
    this.drawSkeletons();
    await this.sampleTimes();
  }

  async loadWork() {
    const [{ order, audit, effort }, proposed] = await Promise.all([get(`${this.path}/work`), get(`${this.path}/points`)]);
    Object.assign(this, { work: order, audit, spent: effort, proposed });
    this.reasons = new Map(order.map((item) => [item.id, item.reasons]));
    this.showSums();
    this.showHere();
  }

  // Showing

  showTitle() {
    const { names, title, event } = this.bout;
    const who = names.A || names.B ? `${names.A || "A"} – ${names.B || "B"}` : title;
    $("title").textContent = event ? `${who} · ${event}` : who;
    document.title = `${who} · Matline`;
  }

  changed() {
    $("saved").dataset.revision = this.timeline.revision;
    this.map.redraw();
    this.showHere();
    this.showSums();
    $("undo").disabled = !this.timeline.canUndo;
    $("redo").disabled = !this.timeline.canRedo;
  }

  get time() {
    return this.player.time;
  }

  get here() {
    return this.timeline.at(this.time);
  }

  showHere() {
    const { here, time } = this;
    this.story.mark(here?.id ?? null);
    showHere($("here-card"), {
      here, time, words: this.words, moment: this.timeline.momentAt(time),
      reasons: this.reasons?.get(here?.id), act: (does) => this.act(does),
    });
  }

  showSums() {
    showSums($("progress"), { timeline: this.timeline, bout: this.bout, audit: this.audit, spent: this.spent });
    showScore($("score"), {
      lines: this.score ?? [], proposed: this.proposed, words: this.words,
      go: (time) => this.go(time), remove: (line) => this.keepScore(this.score.filter((l) => l !== line)),
    });
  }

  atTime() {
    $("clock").textContent = clock(this.time, 2);
    $("play").textContent = this.player.playing ? "Pause" : "Play";
    $("loop").setAttribute("aria-pressed", String(this.player.loop !== null));
    $("rate").value = String(this.player.rate);
    this.map.setTime(this.time, true);
    const here = this.here?.id;
    const moment = this.timeline.momentAt(this.time)?.id;
    if (here !== this.shownHere || moment !== this.shownMoment) {
      Object.assign(this, { shownHere: here, shownMoment: moment });
      this.showHere();
    }
    this.drawSkeletons();
  }

  drawSkeletons() {
    const size = this.frameSize ?? [$("video").videoWidth, $("video").videoHeight];
    draw($("drawing"), this.drawing ? this.keypoints.at(this.time) : null, size);
  }

  noPicture(sentence) {
    $("no-picture").textContent = sentence;
    $("no-picture").hidden = false;
  }

  say(sentence) {
    $("problem").textContent = sentence;
    $("problem").hidden = false;
    clearTimeout(this.message);
    this.message = setTimeout(() => ($("problem").hidden = true), MESSAGE_MS);
  }

  announce(sentence) {
    $("announce").textContent = sentence;
  }

  // Moving

  go(time) {
    this.places.push(this.time);
    this.player.seek(time);
  }

  goTo(times, direction) {
    const time = nextIn(times, this.time, direction);
    if (time !== undefined) this.go(time);
  }

  nextDoubt() {
    const open = (id) => this.timeline.segments.find((s) => s.id === id && s.state === "proposed");
    const now = this.here?.id;
    if (now) this.seen.add(now);
    const candidates = this.byWorth
      ? this.work.map((item) => open(item.id)).filter(Boolean)
      : this.timeline.segments.filter((s) => s.state === "proposed" && s.start_s > this.time);
    const next = candidates.find((s) => !this.seen.has(s.id)) ?? candidates.find((s) => s.id !== now);
    if (!next) return this.say(this.byWorth ? "Everything was looked at." : "Nothing open after this place.");
    this.go(next.start_s);
    this.announce(`${clock(next.start_s)}: ${this.words.segment(next)}`);
  }

  toggleLoop() {
    const { here, player } = this;
    player.loop = player.loop || !here ? null : [here.start_s, here.end_s];
    if (player.loop) player.seek(here.start_s);
    if (player.loop && !player.playing) player.run(1);
    player.tell();
  }

  // Correcting: one after the other, each on what the server last confirmed

  act(does) {
    const run = ACTS[does];
    if (!run) return;
    if (!run.corrects) return run(this);
    const time = this.time; // what was meant when the key was pressed
    this.enqueue(() => run(this, time));
  }

  enqueue(run) {
    this.queue = this.queue.then(run).catch((error) => this.failed(error));
  }

  async correct(action, args) {
    const body = { action, arguments: args, expected_revision: this.timeline.revision, effort: this.effort.take() };
    this.take(await post(`${this.path}/corrections`, body));
  }

  async stepBack(which) {
    const body = { expected_revision: this.timeline.revision, effort: this.effort.take() };
    this.take(await post(`${this.path}/${which}`, body));
  }

  take(change) {
    this.timeline.apply(change);
    this.story.update(change);
    if (change.athletes_turned) this.turned();
    this.changed();
    $("saved").textContent = "Saved";
    clearTimeout(this.workLater);
    this.workLater = setTimeout(() => this.loadWork().catch(() => {}), 800);
  }

  turned() {
    this.keypoints.forget();
    this.drawSkeletons();
    this.map.loadTrace();
  }

  async failed(error) {
    this.say(error.message);
    $("saved").textContent = "Not saved";
    if (error.status !== 409) return;
    this.timeline.take(await get(`${this.path}/timeline`));
    this.story.render();
    this.turned();
    this.changed();
    $("saved").textContent = "Loaded again";
    this.say("Another window changed this bout in between. It was loaded again; your last change was not made.");
  }

  /** The segment at a time, or a word to the human that there is none. */
  segmentAt(time) {
    const segment = this.timeline.at(time);
    if (!segment) this.say("There is no segment here.");
    return segment;
  }

  async relabel() {
    const { time } = this;
    const here = this.segmentAt(time);
    if (!here) return;
    const options = this.words.positions.map((p) => ({
      value: p.key, name: p.name, letter: LETTERS[p.key], hint: p.meaning, current: p.key === here.position.split("/")[0],
    }));
    const own = (text) => {
      const [key, finer] = text.split("/", 2).map((part) => part?.trim());
      const match = finer && options.find((o) => o.name.startsWith(key.toLowerCase()) || o.letter === key);
      return match ? { value: `${match.value}/${finer}`, name: `${match.name}, ${finer}` } : null;
    };
    const hint = "A label of your own goes after a slash: h/knee shield";
    const position = await this.chooser.ask("Position", options, { hint, own });
    if (position) this.enqueue(() => this.label(this.timeline.at(time), position));
  }

  async label(segment, position) {
    if (position === segment.position) await this.correct("accept", { segment: segment.id });
    else await this.correct("relabel", { segment: segment.id, position });
  }

  async setTop(time, nobody) {
    const here = this.segmentAt(time);
    if (!here) return;
    const top = nobody ? null : here.top === "A" ? "B" : "A";
    await this.correct("set_top", { segment: here.id, top });
  }

  async merge(time) {
    const border = this.timeline.borderNear(time);
    const { segments } = this.timeline;
    const number = border && segments.indexOf(border.segment) - (border.edge === "start" ? 1 : 0);
    const [first, second] = [segments[number], segments[number + 1]];
    if (!first || !second) return this.say("There is no border between two segments near here.");
    const keep = this.timeline.at(time)?.id === first.id ? "first" : "second";
    await this.correct("merge", { segment: first.id, keep });
  }

  async moveBorder(border, time) {
    if (!border) return this.say("There is no border near here.");
    await this.correct("move_border", { segment: border.segment.id, edge: border.edge, time_s: time });
  }

  /** Move the nearest border by one sample, and the playhead with it. */
  async nudge(time, direction) {
    const border = this.timeline.borderNear(time);
    if (!border) return this.say("There is no border near here.");
    const next = nextIn(await this.sampleTimes(), border.time, direction);
    if (next === undefined) return;
    this.player.seek(next);
    await this.moveBorder(border, next);
  }

  async sampleTimes() {
    this.samples ??= (await get(`${this.path}/samples`)).time_s;
    return this.samples;
  }

  async snapped(time) {
    const samples = await this.sampleTimes();
    return samples.reduce((best, s) => (Math.abs(s - time) < Math.abs(best - time) ? s : best), samples[0] ?? time);
  }

  async addMoment() {
    const kinds = this.words.moments.flatMap(({ key, name }) => [
      { value: key, name }, { value: `${key}_attempt`, name: `attempt: ${name}`, hint: "reached, not held" }]);
    const time = this.time;
    const kind = await this.chooser.ask("Moment", kinds);
    if (!kind) return;
    const athlete = await this.chooser.ask(`${this.words.moment(kind)}: by whom?`, [
      { value: "A", name: `A ${this.bout.names.A}`.trim() }, { value: "B", name: `B ${this.bout.names.B}`.trim() },
      { value: "none", name: "nobody in particular" }]);
    const by = athlete === "none" ? null : athlete;
    if (athlete) this.enqueue(() => this.correct("add_moment", { kind, peak_s: time, athlete: by }));
  }

  async onMoment(time, action) {
    const moment = this.timeline.momentAt(time);
    if (!moment) return this.say("There is no moment here.");
    await this.correct(action, { moment: moment.id });
  }

  writeNote() {
    const here = this.segmentAt(this.time);
    if (!here) return;
    const field = { name: "text", label: `${clock(here.start_s, 1)} ${this.words.segment(here)}`, kind: "long", value: here.note, hint: "Ctrl Enter saves." };
    this.form.show("Note", [field], ({ text }) => this.correct("note", { segment: here.id, text }));
  }

  async setBound(time, edge) {
    const { start_s, end_s } = this.timeline.bounds ?? this.bout;
    await this.correct("set_bounds", { start_s, end_s, [edge]: time });
  }

  editDetails() {
    const { names, we, event, date, ruleset } = this.bout;
    const fields = [
      { name: "A", label: "Athlete A", value: names.A }, { name: "B", label: "Athlete B", value: names.B },
      { name: "we", label: "We are", kind: [["nobody", "not said"], ["A", "athlete A"], ["B", "athlete B"]], value: we ?? "nobody" },
      { name: "event", label: "Event", value: event }, { name: "date", label: "Date", kind: "date", value: date },
      { name: "ruleset", label: "Rule set for proposed points", kind: this.words.rules.map((r) => [r.key, r.name]), value: ruleset },
    ];
    this.form.show("Names and rules", fields, async ({ A, B, ...rest }) => {
      Object.assign(this.bout, await patch(this.path, { names: { A, B }, ...rest }));
      this.showTitle();
      this.story.render();
      this.changed();
      this.loadWork();
    });
  }

  editScore() {
    const time = this.time;
    const fields = [
      { name: "athlete", label: "Points for", kind: [["A", this.words.athlete("A")], ["B", this.words.athlete("B")]] },
      { name: "points", label: "Points", kind: "number", value: "2" },
      { name: "what", label: "For what (optional)" },
    ];
    this.form.show(`Scoreboard at ${clock(time, 1)}`, fields, async ({ athlete, points, what }) => {
      const line = { time_s: time, athlete, points: Number(points), what };
      await this.keepScore([...(this.score ?? []), line].sort((one, two) => one.time_s - two.time_s));
    });
  }

  async keepScore(lines) {
    this.score = (await put(`${this.path}/score`, { lines })).lines;
    this.showSums();
  }

  // Listening

  listen() {
    addEventListener("keydown", (event) => {
      if (this.chooser.swallows(event)) return event.preventDefault();
      const does = meaning(event, $("keys-on").checked);
      if (!does) return;
      event.preventDefault();
      this.act(does);
    });
    document.addEventListener("click", (event) => {
      const button = event.target.closest("[data-does]");
      if (button) this.act(button.dataset.does);
      // After a click the keys command the page again; after Tab and Enter the focus stays.
      if (event.detail > 0) event.target.closest("button, canvas")?.blur();
    });
    // The same for a list chosen from by mouse; who chooses by arrow keys stays in it.
    addEventListener("pointerdown", () => (this.byPointer = true), { capture: true });
    addEventListener("keydown", () => (this.byPointer = false), { capture: true });
    document.addEventListener("change", (event) => {
      if (this.byPointer && event.target.matches("main select")) event.target.blur();
    });
    this.player.addEventListener("time", () => this.atTime());
    this.player.addEventListener("unplayable", () => this.unplayable());
    this.map.addEventListener("place", (event) => this.player.seek(event.detail));
    this.map.addEventListener("border", ({ detail }) => {
      this.enqueue(async () => this.moveBorder(detail.border, await this.snapped(detail.time)));
    });
    this.story.addEventListener("place", (event) => this.go(event.detail));
    $("filter").addEventListener("change", (event) => {
      this.story.filter = event.target.value;
      this.story.render();
    });
    $("order").addEventListener("change", (event) => (this.byWorth = event.target.value === "worth"));
    $("rate").addEventListener("change", (event) => this.player.setRate(Number(event.target.value)));
    $("show-details").addEventListener("click", () => this.editDetails());
    $("keys-on").addEventListener("change", (event) => localStorage.setItem("single-keys", event.target.checked ? "on" : "off"));
    new ResizeObserver(() => this.drawSkeletons()).observe($("screen"));
  }

  unplayable() {
    this.noPicture(`This browser can’t play “${this.bout.footage}”. Correcting works without the picture.`);
  }
}

const correcting = (run) => Object.assign(run, { corrects: true });

const ACTS = {
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
  "previous-moment": (page) => page.goTo(page.timeline.moments.map((m) => m.peak_s), -1),
  "next-moment": (page) => page.goTo(page.timeline.moments.map((m) => m.peak_s), 1),
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
  note: (page) => page.writeNote(),
  score: (page) => page.editScore(),
  accept: correcting(async (page, time) => {
    const here = page.timeline.at(time);
    if (here?.state === "proposed") await page.correct("accept", { segment: here.id });
  }),
  "accept-next": correcting(async (page, time) => {
    await ACTS.accept(page, time);
    page.nextDoubt();
  }),
  relabel: (page) => page.relabel(),
  moment: (page) => page.addMoment(),
  top: correcting((page, time) => page.setTop(time, false)),
  "nobody-top": correcting((page, time) => page.setTop(time, true)),
  split: correcting(async (page, time) => {
    const here = page.segmentAt(time);
    if (here) await page.correct("split", { segment: here.id, time_s: time });
  }),
  merge: correcting((page, time) => page.merge(time)),
  "border-here": correcting((page, time) => page.moveBorder(page.timeline.borderNear(time), time)),
  "border-earlier": correcting((page, time) => page.nudge(time, -1)),
  "border-later": correcting((page, time) => page.nudge(time, 1)),
  swap: correcting((page, time) => page.correct("swap_athletes", { from_s: time })),
  "accept-moment": correcting((page, time) => page.onMoment(time, "accept_moment")),
  "remove-moment": correcting((page, time) => page.onMoment(time, "remove_moment")),
  "bout-start": correcting((page, time) => page.setBound(time, "start_s")),
  "bout-end": correcting((page, time) => page.setBound(time, "end_s")),
  undo: correcting((page) => page.timeline.canUndo && page.stepBack("undo")),
  redo: correcting((page) => page.timeline.canRedo && page.stepBack("redo")),
};

try {
  await openSession();
  const path = `/api${location.pathname}`;
  const [bout, words, state] = await Promise.all([get(path), get("/api/words"), get(`${path}/timeline`)]);
  const page = new BoutPage(bout, words, state);
  page.start();
} catch (error) {
  $("problem").textContent = error.message;
  $("problem").hidden = false;
}
