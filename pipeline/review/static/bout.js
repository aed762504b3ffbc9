// One bout: puts the parts together, shows what changes, and saves corrections one by one.

import { ACTS, editDetails, keepScore, moveBorder, sampleTimes, snapped } from "./acts.js";
import { get, openSession, post } from "./api.js";
import { Chooser } from "./chooser.js";
import { Effort } from "./effort.js";
import { Form } from "./form.js";
import { goesOn, helpContent, meaning } from "./keys.js";
import { BoutMap } from "./map.js";
import { MatDialog } from "./mat.js";
import { Player, RATES } from "./player.js";
import { draw, Keypoints } from "./skeletons.js";
import { Story } from "./story.js";
import { showCameras, showHere, showLegend, showScore, showSums } from "./cards.js";
import { told } from "./steps.js";
import { isMoment, nextIn, placeOf, Timeline } from "./timeline.js";
import { $, clock, Words } from "./words.js";

const COPY_POLL_MS = 1000;
const MESSAGE_MS = 6000;
const SAME_PLACE_S = 1e-3;

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
    this.target = null;
    this.drawing = true;
    this.byWorth = true;
    this.effort = new Effort(bout.id);
    this.player = new Player($("video"), $("still"), bout);
    this.map = new BoutMap($("map"), bout, this.timeline, this.words);
    this.story = new Story($("story"), this.timeline, this.words);
    this.keypoints = new Keypoints(bout.id, () => this.drawSkeletons());
    this.chooser = new Chooser($("chooser"));
    this.form = new Form($("form"));
    this.mat = new MatDialog($("mat"));
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
    $("to-report").href = `/report?bout=${this.bout.id}`;
    this.loadPicture().catch((error) => this.say(error.message));
    this.map.loadTrace().catch((error) => this.say(error.message));
    this.story.render();
    this.changed();
    const asked = Number(new URLSearchParams(location.hash.slice(1)).get("at"));
    this.player.seek(asked || this.bout.start_s);
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
    showCameras($("cameras"), await get(`${this.path}/cameras`), () => this.time);
    this.showSums();
    this.drawSkeletons();
    await sampleTimes(this);
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
    $("undo").disabled = !this.timeline.undoes;
    $("redo").disabled = !this.timeline.redoes;
  }

  get time() {
    return this.player.time;
  }

  get here() {
    return this.timeline.at(this.time);
  }

  momentAt(time) {
    return this.timeline.momentAt(time, this.target);
  }

  /** What accepting means at a time: the moment that one went to, else the segment. */
  meantAt(time, target = this.target) {
    const moment = this.timeline.momentAt(time, target);
    return moment && moment.id === target && moment.state === "proposed" ? moment : this.timeline.at(time);
  }

  showHere() {
    const { here, time } = this;
    const meant = this.meantAt(time);
    this.story.mark(meant?.id ?? null);
    showHere($("here-card"), {
      here, meant, words: this.words, moment: this.momentAt(time),
      reasons: this.reasons?.get(here?.id), act: (does) => this.act(does),
    });
  }

  showSums() {
    showSums($("progress"), { timeline: this.timeline, bout: this.bout, audit: this.audit, spent: this.spent });
    showScore($("score"), {
      lines: this.score ?? [], proposed: this.proposed, words: this.words,
      go: (time) => this.go(time), remove: (line) => keepScore(this, this.score.filter((l) => l !== line)),
    });
  }

  atTime() {
    $("clock").textContent = clock(this.time, 2);
    $("play").textContent = this.player.playing ? "Pause" : "Play";
    $("loop").setAttribute("aria-pressed", String(this.player.loop !== null));
    $("rate").value = String(this.player.rate);
    this.map.setTime(this.time, true);
    const here = this.here?.id;
    const moment = this.momentAt(this.time)?.id;
    if (moment !== this.target) this.target = null;
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

  /** Go to a time; a moment that is gone to is what accepting then means. */
  go(time, moment = null) {
    this.places.push(this.time);
    this.target = moment;
    this.player.seek(time);
    this.showHere();
  }

  goToRow(row) {
    this.go(placeOf(row), isMoment(row) ? row.id : null);
  }

  goTo(times, direction) {
    const time = nextIn(times, this.time, direction);
    if (time !== undefined) this.go(time);
  }

  goToMoment(direction) {
    const { moments } = this.timeline;
    const time = nextIn(moments.map((m) => m.peak_s).sort((one, two) => one - two), this.time, direction);
    if (time !== undefined) this.goToRow(moments.find((m) => m.peak_s === time));
  }

  /** Go to the next that nobody has looked at; what was gone to or left before comes last. */
  nextDoubt() {
    const now = this.meantAt(this.time);
    if (now) this.seen.add(now.id);
    const open = this.timeline.open();
    const rest = (this.byWorth ? this.inWorkOrder(open) : this.after(open)).filter((row) => row.id !== now?.id);
    const next = rest.find((row) => !this.seen.has(row.id)) ?? rest[0];
    if (!open.length) return this.say("Everything was looked at.");
    if (!next) return this.say(`Nothing more to look at after this place; ${open.length} still proposed.`);
    this.goToRow(next);
    this.announce(`${clock(placeOf(next))}: ${this.words.sentence(next)}`);
  }

  inWorkOrder(open) {
    const numbers = new Map(this.work.map((item, i) => [item.id, i]));
    const number = (row) => numbers.get(row.id) ?? Infinity; // what corrections made since comes last
    return open.toSorted((one, two) => (number(one) === number(two) ? 0 : number(one) - number(two)));
  }

  after(open) {
    const away = (row) => placeOf(row) - this.time;
    return open.filter((row) => away(row) > SAME_PLACE_S || (away(row) > -SAME_PLACE_S && !this.seen.has(row.id)));
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
    const { time, target } = this; // what was meant when the key was pressed
    this.enqueue(() => run(this, time, target));
  }

  enqueue(run) {
    this.queue = this.queue.then(run).catch((error) => this.failed(error));
  }

  async correct(action, args) {
    const body = { action, arguments: args, expected_revision: this.timeline.revision, effort: this.effort.take() };
    this.take(await post(`${this.path}/corrections`, body));
  }

  /** Undo or redo, say what that was, and go there. */
  async step(which, times) {
    const was = new Map(this.timeline.rows().map((row) => [row.id, row]));
    const body = { expected_revision: this.timeline.revision, times, effort: this.effort.take() };
    const change = await post(`${this.path}/${which}`, body);
    this.take(change);
    const { sentence, time, row } = told(
      which, change.stepped, (id) => was.get(id), (id) => this.timeline.find(id), this.words, this.time);
    if (time !== this.time) this.go(time, row && isMoment(row) ? row.id : null);
    this.say(sentence);
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

  // Listening

  listen() {
    // On the way down: a dialog that this very key closes still owns it.
    addEventListener("keydown", (event) => {
      const does = meaning(event, $("keys-on").checked);
      if (!does) return;
      event.preventDefault();
      if (!event.repeat || goesOn(does)) this.act(does);
    }, { capture: true });
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
    this.map.addEventListener("moment", (event) => this.goToRow(this.timeline.find(event.detail)));
    this.map.addEventListener("border", ({ detail }) => {
      this.enqueue(async () => moveBorder(this, detail.border, await snapped(this, detail.time)));
    });
    this.story.addEventListener("place", (event) => this.goToRow(this.timeline.find(event.detail)));
    $("filter").addEventListener("change", (event) => {
      this.story.filter = event.target.value;
      this.story.render();
    });
    $("order").addEventListener("change", (event) => (this.byWorth = event.target.value === "worth"));
    $("rate").addEventListener("change", (event) => this.player.setRate(Number(event.target.value)));
    $("show-details").addEventListener("click", () => editDetails(this));
    $("show-mat").addEventListener("click", () => this.chooseMat().catch((error) => this.say(error.message)));
    $("keys-on").addEventListener("change", (event) => localStorage.setItem("single-keys", event.target.checked ? "on" : "off"));
    new ResizeObserver(() => this.drawSkeletons()).observe($("screen"));
  }

  async chooseMat() {
    const { width, height } = await get(`${this.path}/frame-size`);
    this.player.pause();
    await this.mat.open(this.path, this.time, [width, height]);
  }

  unplayable() {
    this.noPicture(`This browser can’t play “${this.bout.footage}”. Correcting works without the picture.`);
  }
}

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
