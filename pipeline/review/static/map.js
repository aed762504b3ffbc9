// The map of the bout: both athletes' hip heights over time, position bands under them, moments
// as flags, doubt as bars. Who is on top shows in which lane a band lies, not only in its colour.

import { get } from "./api.js";
import { clock } from "./words.js";
import { palette } from "./looks.js";
import { drawFlags, FLAG_FONT, flagAt, placeFlags, ROW_H, rowsIn } from "./flags.js";
import { AXIS_H, DOUBT_H, drawBands, drawBounds, drawFrame, drawTraces, LANE_H, LEFT } from "./paint.js";

const GRAB_PX = 7;
const SHORTEST_VIEW_S = 2;

export class BoutMap extends EventTarget {
  constructor(canvas, bout, timeline, words) {
    super();
    Object.assign(this, { canvas, bout, timeline, words });
    this.whole = [bout.start_s, bout.end_s]; // one bout, though its footage may hold a whole day
    this.view = this.whole;
    this.time = 0;
    this.traces = [];
    this.flags = [];
    this.still = document.createElement("canvas");
    this.dragging = null;
    this.listen();
    new ResizeObserver(() => this.redraw()).observe(canvas);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.redraw());
  }

  // Times and pixels

  get width() {
    return Math.max(1, this.canvas.clientWidth - LEFT);
  }

  x(time) {
    return LEFT + ((time - this.view[0]) / (this.view[1] - this.view[0])) * this.width;
  }

  timeAt(x) {
    return this.view[0] + ((x - LEFT) / this.width) * (this.view[1] - this.view[0]);
  }

  rows() {
    const height = this.canvas.clientHeight;
    const axis = height - AXIS_H;
    const doubt = axis - DOUBT_H;
    const lanes = doubt - 3 * LANE_H;
    const rows = Math.max(1, ...this.flags.map(({ row }) => row + 1));
    return { trace: [4, lanes - rows * ROW_H - 8], lanes, doubt, axis };
  }

  // What is shown

  async loadTrace() {
    const [start, end] = this.whole;
    const path = `/api/bouts/${this.bout.id}/trace?start_s=${start}&end_s=${end}`;
    this.traces = [await get(`${path}&buckets=1200`)];
    this.redraw();
    this.loadDetail();
  }

  /** When looking at a part of a long bout, fetch that part in full. */
  loadDetail() {
    clearTimeout(this.detail);
    this.detail = setTimeout(async () => {
      const [start, end] = this.view;
      const whole = this.traces[0];
      if (!whole || end - start > (this.whole[1] - this.whole[0]) / 2 || whole.time_s.length < 2000) return;
      const [from, to] = [Math.max(0, start - (end - start)), end + (end - start)];
      const held = this.traces[1]?.span;
      if (held && held[0] <= start && held[1] >= end && held[1] - held[0] < 6 * (end - start)) return;
      const path = `/api/bouts/${this.bout.id}/trace?start_s=${from}&end_s=${to}&buckets=1200`;
      const part = await get(path).catch(() => null);
      if (!part) return;
      part.span = [from, to];
      this.traces = [whole, part];
      this.redraw();
    }, 120);
  }

  setTime(time, follow) {
    this.time = time;
    const [start, end] = this.view;
    if (follow && !this.dragging && (time < start || time > end)) {
      this.show(time - 0.1 * (end - start), time + 0.9 * (end - start));
    } else {
      this.paint();
    }
    this.canvas.setAttribute("aria-valuenow", time.toFixed(2));
    const segment = this.timeline.at(time);
    this.canvas.setAttribute("aria-valuetext", `${clock(time, 1)}${segment ? `, ${this.words.segment(segment)}` : ""}`);
  }

  show(start, end) {
    const [first, last] = this.whole;
    const length = Math.min(Math.max(end - start, SHORTEST_VIEW_S), last - first);
    const from = Math.min(Math.max(first, start), last - length);
    this.view = [from, from + length];
    this.redraw();
    this.loadDetail();
  }

  zoom(factor, around = this.time) {
    const [start, end] = this.view;
    const inside = Math.min(Math.max(around, start), end);
    this.show(inside - (inside - start) * factor, inside + (end - inside) * factor);
  }

  showAll() {
    this.show(...this.whole);
  }

  // Drawing: what changes rarely goes to a still picture, the playhead over it

  redraw() {
    if (this.waiting) return;
    this.waiting = requestAnimationFrame(() => {
      this.waiting = 0;
      this.drawStill();
      this.paint();
    });
  }

  paint() {
    const context = this.canvas.getContext("2d");
    if (!this.still.width) return;
    context.setTransform(1, 0, 0, 1, 0, 0);
    context.clearRect(0, 0, this.canvas.width, this.canvas.height);
    context.drawImage(this.still, 0, 0);
    const ratio = devicePixelRatio || 1;
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    const { axis } = this.rows();
    const colours = palette();
    if (this.dragging?.kind === "border") this.drawLine(context, this.dragging.time, axis, colours.doubt, [3, 3]);
    this.drawLine(context, this.time, axis, colours.ink, []);
    const x = this.x(this.time);
    context.fillStyle = colours.ink;
    context.beginPath();
    context.moveTo(x - 6, 0);
    context.lineTo(x + 6, 0);
    context.lineTo(x, 8);
    context.fill();
  }

  drawLine(context, time, bottom, colour, dash) {
    const x = this.x(time);
    if (x < LEFT - 1 || x > this.canvas.clientWidth + 1) return;
    context.strokeStyle = colour;
    context.lineWidth = 2;
    context.setLineDash(dash);
    context.beginPath();
    context.moveTo(x, 0);
    context.lineTo(x, bottom);
    context.stroke();
    context.setLineDash([]);
  }

  drawStill() {
    const ratio = devicePixelRatio || 1;
    const { clientWidth: width, clientHeight: height } = this.canvas;
    for (const canvas of [this.canvas, this.still]) {
      canvas.width = Math.round(width * ratio);
      canvas.height = Math.round(height * ratio);
    }
    const context = this.still.getContext("2d");
    context.setTransform(ratio, 0, 0, ratio, 0, 0);
    const colours = palette();
    this.flags = this.placeFlags(context, width);
    const rows = this.rows();
    drawFrame(this, context, rows, colours, width);
    context.save();
    context.beginPath();
    context.rect(LEFT, 0, width - LEFT, height);
    context.clip();
    drawTraces(this, context, rows.trace, colours);
    drawBands(this, context, rows, colours);
    drawFlags(context, this.flags, rows.lanes, colours);
    drawBounds(this, context, rows, colours, width);
    context.restore();
  }

  placeFlags(context, width) {
    context.font = FLAG_FONT;
    return placeFlags(this.timeline.moments, {
      x: (time) => this.x(time), measure: (text) => context.measureText(text).width,
      left: LEFT - 1, right: width, rows: rowsIn(this.rows().lanes),
    });
  }

  // Pointing

  listen() {
    const { canvas } = this;
    canvas.addEventListener("pointerdown", (event) => this.press(event));
    canvas.addEventListener("pointermove", (event) => this.move(event));
    canvas.addEventListener("pointerup", () => this.release());
    canvas.addEventListener("pointercancel", () => this.cancel());
    canvas.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
  }

  borderUnder(event) {
    const { lanes, doubt } = this.rows();
    if (event.offsetY < lanes || event.offsetY > doubt) return null;
    const border = this.timeline.borderNear(this.timeAt(event.offsetX));
    return border && Math.abs(this.x(border.time) - event.offsetX) <= GRAB_PX ? border : null;
  }

  flagUnder(event) {
    return flagAt(this.flags, this.rows().lanes, { x: event.offsetX, y: event.offsetY });
  }

  press(event) {
    if (event.button !== 0) return;
    const flag = this.flagUnder(event);
    if (flag) return this.dispatchEvent(new CustomEvent("moment", { detail: flag.moment.id }));
    const border = this.borderUnder(event);
    this.dragging = border ? { kind: "border", border, time: border.time } : { kind: "place" };
    this.canvas.setPointerCapture(event.pointerId);
    this.move(event);
  }

  move(event) {
    if (!this.dragging) return this.pointAt(event);
    const time = Math.min(Math.max(0, this.timeAt(event.offsetX)), this.bout.duration_s);
    if (this.dragging.kind === "border" && event.type === "pointermove") this.dragging.time = time;
    this.dispatchEvent(new CustomEvent("place", { detail: this.dragging.kind === "border" ? this.dragging.time : time }));
  }

  /** Show by the cursor what a press would do, and name a moment that found no room for its name. */
  pointAt(event) {
    const flag = this.flagUnder(event);
    this.canvas.classList.toggle("on-border", !flag && this.borderUnder(event) !== null);
    this.canvas.classList.toggle("on-flag", flag !== null);
    this.canvas.title = flag ? `${clock(flag.moment.peak_s, 1)} ${this.words.momentSentence(flag.moment)}` : "";
  }

  release() {
    const dragged = this.dragging;
    this.dragging = null;
    if (dragged?.kind === "border" && dragged.time !== dragged.border.time) {
      this.dispatchEvent(new CustomEvent("border", { detail: dragged }));
    }
    this.paint();
  }

  cancel() {
    this.dragging = null;
    this.paint();
  }

  wheel(event) {
    const sideways = Math.abs(event.deltaX) > Math.abs(event.deltaY) || event.shiftKey;
    event.preventDefault();
    if (sideways) {
      const by = ((event.deltaX || event.deltaY) / this.width) * (this.view[1] - this.view[0]);
      this.show(this.view[0] + by, this.view[1] + by);
    } else {
      this.zoom(Math.exp(event.deltaY * 0.0015), this.timeAt(event.offsetX));
    }
  }
}
