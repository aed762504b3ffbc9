// The video, and the one time that everything else follows.

import { getBytes } from "./api.js";
import { nextIn } from "./timeline.js";

export const RATES = [0.1, 0.25, 0.5, 0.75, 1, 1.5, 2, 4];
const SHUTTLE = [-8, -4, -2, -1, 0, 1, 2, 4, 8];
const FRAMES_AROUND_S = 8;
const INTO_PICTURE_S = 0.002; // a seek exactly to a picture's time may show the one before
const SAME_PICTURE_S = 0.0015;
const TRIES = 4;
const SHOWN_AFTER_MS = 150;

export class Player extends EventTarget {
  constructor(video, still, bout) {
    super();
    this.video = video;
    this.still = still;
    this.bout = bout;
    this.time = 0;
    this.loop = null;
    this.shuttle = 0;
    this.rate = 1;
    this.frames = new Float64Array();
    this.framesSpan = [0, 0];
    video.addEventListener("seeked", () => this.seekOn());
    video.addEventListener("ended", () => this.pause());
    video.addEventListener("loadedmetadata", () => this.seekOn());
    // A picture that stays the same is not announced; so look a little after each seek.
    video.addEventListener("seeked", () => this.checkLater());
    this.watchPictures();
    video.addEventListener("error", () => this.dispatchEvent(new Event("unplayable")));
  }

  load(address) {
    this.video.src = address;
  }

  get playing() {
    return this.shuttle !== 0;
  }

  /** Go to a time; the picture follows as fast as the browser decodes. */
  seek(time) {
    this.time = Math.min(Math.max(0, time), this.bout.duration_s);
    this.wanted = this.time;
    this.showStill(null);
    this.seekOn();
    this.tell();
  }

  // While a seek runs, only the newest wish is kept, so a held key never queues up.
  seekOn() {
    if (this.wanted === undefined || this.video.seeking || !this.video.duration) return;
    const time = this.wanted;
    this.wanted = undefined;
    this.video.currentTime = Math.min(time + INTO_PICTURE_S, this.video.duration);
  }

  // Where pictures are unevenly spaced, browsers guess how long each lasts and may show the one
  // before the one asked for. What they show they say exactly; so ask again farther on, and halve
  // the way back where that was too far.
  checkPicture() {
    const { picture, shownTime } = this;
    if (!picture || this.playing || this.video.seeking || this.wanted !== undefined) return;
    const early = shownTime < picture.start - SAME_PICTURE_S;
    const late = shownTime > picture.start + SAME_PICTURE_S;
    if (!early && !late) return this.showStill(null);
    if (picture.tries++ >= TRIES) return this.showStill(picture.start);
    if (early) picture.low = picture.aim;
    else picture.high = picture.aim;
    picture.aim = picture.high === Infinity ? picture.low + picture.lasts / 2 : (picture.low + picture.high) / 2;
    this.video.currentTime = picture.aim;
  }

  checkLater() {
    clearTimeout(this.later);
    this.later = setTimeout(() => this.checkPicture(), SHOWN_AFTER_MS);
  }

  /** Show the stored picture itself where the browser can't be brought to show it. */
  showStill(time) {
    this.picture = null;
    this.still.hidden = time === null;
    if (time !== null) this.still.src = `/api/bouts/${this.bout.id}/still?time_s=${time}`;
  }

  /** Note each picture's own time as it comes to the screen. */
  watchPictures() {
    this.video.requestVideoFrameCallback?.((now, { mediaTime }) => {
      this.shownTime = mediaTime;
      this.checkPicture();
      this.watchPictures();
    });
  }

  toggle() {
    if (this.playing) this.pause();
    else this.run(1);
  }

  pause() {
    const was = this.playing;
    this.shuttle = 0;
    this.video.pause();
    if (was) this.tell();
  }

  /** J and L: each press one step slower or faster, through standing still. */
  shuttleBy(direction) {
    const now = SHUTTLE.indexOf(this.shuttle);
    this.run(SHUTTLE[Math.min(Math.max(0, now + direction), SHUTTLE.length - 1)]);
  }

  run(speed) {
    this.shuttle = speed;
    if (speed === 0) return this.pause();
    this.showStill(null);
    if (speed > 0 && this.time >= this.bout.duration_s - 0.05) this.seek(this.loop ? this.loop[0] : 0);
    if (speed > 0) {
      this.video.playbackRate = Math.min(16, speed * this.rate);
      this.video.play().catch(() => this.pause());
    } else {
      this.video.pause();
    }
    this.last = performance.now();
    requestAnimationFrame((now) => this.tick(now));
    this.tell();
  }

  setRate(rate) {
    this.rate = rate;
    if (this.shuttle > 0) this.video.playbackRate = Math.min(16, this.shuttle * rate);
    this.tell();
  }

  changeRate(direction) {
    const next = RATES[RATES.indexOf(this.rate) + direction];
    if (next) this.setRate(next);
  }

  tick(now) {
    if (!this.playing) return;
    if (this.shuttle > 0) {
      if (!this.video.seeking && this.wanted === undefined) this.time = this.video.currentTime;
      if (this.loop && this.time >= this.loop[1]) this.seek(this.loop[0]);
    } else {
      this.seek(this.time + (this.shuttle * this.rate * (now - this.last)) / 1000);
      if (this.time === 0) return this.pause();
    }
    this.last = now;
    this.tell();
    requestAnimationFrame((next) => this.tick(next));
  }

  /** Go one picture on or back, by the times stored in the file. */
  async step(direction) {
    this.pause();
    const [start, end] = this.framesSpan;
    if (this.time - 1 < start || this.time + 1 > end) await this.loadFrames();
    const time = nextIn(this.frames, this.time, direction, 5e-4);
    if (time === undefined) return;
    this.seek(time);
    const lasts = (nextIn(this.frames, time, 1, 5e-4) ?? time + 1 / 25) - time;
    this.picture = { start: time, lasts, aim: time + INTO_PICTURE_S, low: time, high: Infinity, tries: 0 };
  }

  async loadFrames() {
    const start = Math.max(0, this.time - FRAMES_AROUND_S);
    const end = this.time + FRAMES_AROUND_S;
    const bytes = await getBytes(`/api/bouts/${this.bout.id}/frames?start_s=${start}&end_s=${end}`);
    this.frames = new Float64Array(bytes);
    this.framesSpan = [start === 0 ? -1 : start, Math.min(end, this.bout.duration_s + 2)];
    if (end > this.bout.duration_s) this.framesSpan[1] = Infinity;
  }

  tell() {
    this.dispatchEvent(new Event("time"));
  }
}
