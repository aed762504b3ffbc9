// The map of the bout: both athletes' hip heights over time, position bands under them, moments
// as flags, doubt as bars. Who is on top shows in which lane a band lies, not only in its colour.

import { get } from "./api.js";
import { clock } from "./words.js";
import { bandStyle, momentCode, palette, positionCode } from "./looks.js";

const FLAGS_H = 20;
const LANE_H = 20;
const DOUBT_H = 12;
const AXIS_H = 18;
const LEFT = 26;
const GRAB_PX = 7;
const SHORTEST_VIEW_S = 2;
const TICKS_S = [0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600];

export class BoutMap extends EventTarget {
  constructor(canvas, bout, timeline, words) {
    super();
    Object.assign(this, { canvas, bout, timeline, words });
    this.whole = [bout.start_s, bout.end_s]; // one bout, though its footage may hold a whole day
    this.view = this.whole;
    this.time = 0;
    this.traces = [];
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
    return { trace: [4, lanes - FLAGS_H - 4], flags: lanes - FLAGS_H, lanes, doubt, axis };
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
    const rows = this.rows();
    this.drawFrame(context, rows, colours, width);
    context.save();
    context.beginPath();
    context.rect(LEFT, 0, width - LEFT, height);
    context.clip();
    this.drawTraces(context, rows.trace, colours);
    this.drawBands(context, rows, colours);
    this.drawMoments(context, rows.flags, colours);
    this.drawBounds(context, rows, colours, width);
    context.restore();
  }

  drawFrame(context, rows, colours, width) {
    context.font = "600 12px system-ui, sans-serif";
    context.textBaseline = "middle";
    context.textAlign = "center";
    for (const [lane, letter, colour] of [[0, "A", colours.a], [1, "–", colours.soft], [2, "B", colours.b]]) {
      const y = rows.lanes + lane * LANE_H;
      context.fillStyle = lane === 1 ? colours.ground : colours.sunk;
      context.fillRect(LEFT, y, width, LANE_H);
      context.fillStyle = colour;
      context.fillText(letter, LEFT / 2, y + LANE_H / 2);
    }
    context.fillStyle = colours.doubt;
    context.fillText("?", LEFT / 2, rows.doubt + DOUBT_H / 2 + 1);
    this.drawAxis(context, rows, colours, width);
  }

  drawAxis(context, rows, colours, width) {
    const perPixel = (this.view[1] - this.view[0]) / this.width;
    const step = TICKS_S.find((s) => s / perPixel > 70) ?? TICKS_S.at(-1);
    context.strokeStyle = colours.hair;
    context.fillStyle = colours.soft;
    context.lineWidth = 1;
    context.font = "12px system-ui, sans-serif";
    for (let time = Math.ceil(this.view[0] / step) * step; time <= this.view[1]; time += step) {
      const x = this.x(time);
      context.beginPath();
      context.moveTo(x, 0);
      context.lineTo(x, rows.axis);
      context.stroke();
      if (x > LEFT + 12 && x < width - 18) context.fillText(clock(time, step < 1 ? 1 : 0), x, rows.axis + AXIS_H / 2 + 1);
    }
  }

  drawTraces(context, [top, bottom], colours) {
    const highest = Math.max(1.5, ...this.traces.slice(0, 1).map(ceiling));
    const y = (height) => bottom - (Math.max(0, height) / highest) * (bottom - top);
    const trace = this.traces[1] && this.traces[1].span[0] <= this.view[0] && this.traces[1].span[1] >= this.view[1]
      ? this.traces[1] : this.traces[0];
    if (!trace) return;
    this.drawUnseen(context, trace, [top, bottom], colours);
    for (const [letter, colour, dash] of [["B", colours.b, [6, 3]], ["A", colours.a, []]]) {
      context.strokeStyle = colour;
      context.lineWidth = 1.8;
      context.lineJoin = "round";
      context.setLineDash(dash);
      context.beginPath();
      let pen = false;
      trace.time_s.forEach((time, i) => {
        if (time < this.view[0] - 60 || time > this.view[1] + 60) return;
        const height = trace[letter][i];
        if (height === null) pen = false;
        else if (pen) context.lineTo(this.x(time), y(height));
        else context.moveTo(this.x(time), y(height));
        pen = height !== null;
      });
      context.stroke();
    }
    context.setLineDash([]);
  }

  /** Where the reader hardly saw the two, the ground is hatched. */
  drawUnseen(context, trace, [top, bottom], colours) {
    const poor = trace.seen.map((seen) => seen < 0.3);
    context.fillStyle = hatch(context, colours.hair);
    let from = null;
    trace.time_s.forEach((time, i) => {
      if (poor[i] && from === null) from = time;
      if (from !== null && (!poor[i] || i === poor.length - 1)) {
        context.fillRect(this.x(from), top, Math.max(1, this.x(time) - this.x(from)), bottom - top);
        from = null;
      }
    });
  }

  drawBands(context, rows, colours) {
    context.textBaseline = "middle";
    context.textAlign = "left";
    const shown = this.timeline.between(...this.view);
    const lowest = new Map(); // one bar a pixel column: the most doubtful wins
    for (const segment of shown) {
      const x = this.x(segment.start_s);
      const width = Math.max(1, this.x(segment.end_s) - x - 1);
      const y = rows.lanes + ({ A: 0, B: 2 }[segment.top] ?? 1) * LANE_H;
      this.drawBand(context, segment, x, y, width, colours);
      if (segment.state !== "proposed") continue;
      const doubt = 1 - segment.confidence;
      const key = Math.round(x);
      if (doubt > (lowest.get(key)?.doubt ?? 0)) lowest.set(key, { x, width, doubt });
    }
    context.fillStyle = colours.doubt;
    for (const { x, width, doubt } of lowest.values()) {
      const height = Math.max(1, doubt * DOUBT_H);
      context.fillRect(x, rows.doubt + DOUBT_H - height, width, height);
    }
  }

  drawBand(context, segment, x, y, width, colours) {
    const style = bandStyle(context, segment.position);
    context.globalAlpha = segment.state === "proposed" ? 0.75 : 1;
    context.fillStyle = style.fill;
    context.fillRect(x, y + 2, width, LANE_H - 4);
    context.globalAlpha = 1;
    if (style.pattern && width > 3) {
      context.fillStyle = style.pattern;
      context.fillRect(x, y + 2, width, LANE_H - 4);
    }
    if (segment.state !== "proposed" && width > 2) {
      context.strokeStyle = colours.ink;
      context.lineWidth = 1.5;
      context.strokeRect(x + 0.75, y + 2.75, Math.max(0, width - 1.5), LANE_H - 5.5);
    }
    if (width < 22) return;
    const mark = { accepted: "✓ ", corrected: "✎ " }[segment.state] ?? "";
    context.font = "600 11px system-ui, sans-serif";
    const name = mark + this.words.position(segment.position);
    const code = mark + positionCode(segment.position);
    const text = [name, code].find((t) => context.measureText(t).width < width - 6);
    if (!text) return;
    const wide = context.measureText(text).width;
    context.fillStyle = style.plate;
    context.fillRect(x + 2, y + 4, wide + 4, LANE_H - 8);
    context.fillStyle = style.text;
    context.fillText(text, x + 4, y + LANE_H / 2 + 0.5);
  }

  drawMoments(context, y, colours) {
    context.textBaseline = "middle";
    context.textAlign = "left";
    let free = -Infinity;
    for (const moment of this.timeline.moments) {
      const x = this.x(moment.peak_s);
      if (x < LEFT - 40 || x > this.canvas.clientWidth) continue;
      const colour = { A: colours.a, B: colours.b }[moment.athlete] ?? colours.soft;
      context.strokeStyle = context.fillStyle = colour;
      context.lineWidth = 1.5;
      const room = x >= free; // without room for a flag, a short pole alone
      context.beginPath();
      context.moveTo(x, room ? y : y + FLAGS_H - 4);
      context.lineTo(x, y + FLAGS_H);
      context.stroke();
      if (!room) continue;
      context.font = "600 11px system-ui, sans-serif";
      const text = `${moment.athlete ?? ""} ${momentCode(moment.kind)}`.trim();
      const wide = context.measureText(text).width + 8;
      if (moment.kind.endsWith("_attempt")) {
        context.setLineDash([3, 2]);
        context.strokeRect(x, y + 1, wide, FLAGS_H - 6);
        context.setLineDash([]);
      } else {
        context.fillRect(x, y + 1, wide, FLAGS_H - 6);
        context.fillStyle = colours.ground;
      }
      context.fillText(text, x + 4, y + FLAGS_H / 2 - 1.5);
      free = x + wide + 3;
    }
  }

  drawBounds(context, rows, colours, width) {
    if (!this.timeline.bounds) return;
    context.fillStyle = hatch(context, colours.line);
    const start = this.x(this.timeline.bounds.start_s);
    const end = this.x(this.timeline.bounds.end_s);
    if (start > LEFT) context.fillRect(LEFT, 0, start - LEFT, rows.axis);
    if (end < width) context.fillRect(end, 0, width - end, rows.axis);
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

  press(event) {
    if (event.button !== 0) return;
    this.canvas.setPointerCapture(event.pointerId);
    const border = this.borderUnder(event);
    this.dragging = border ? { kind: "border", border, time: border.time } : { kind: "place" };
    this.move(event);
  }

  move(event) {
    if (!this.dragging) {
      this.canvas.classList.toggle("on-border", this.borderUnder(event) !== null);
      return;
    }
    const time = Math.min(Math.max(0, this.timeAt(event.offsetX)), this.bout.duration_s);
    if (this.dragging.kind === "border" && event.type === "pointermove") this.dragging.time = time;
    this.dispatchEvent(new CustomEvent("place", { detail: this.dragging.kind === "border" ? this.dragging.time : time }));
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

const ceiling = (trace) => {
  const heights = [...trace.A, ...trace.B].filter((h) => h !== null).sort((one, two) => one - two);
  return (heights[Math.floor(heights.length * 0.995)] ?? 0) * 1.1;
};

function hatch(context, colour) {
  const tile = document.createElement("canvas");
  tile.width = tile.height = 8;
  const pen = tile.getContext("2d");
  pen.strokeStyle = colour;
  pen.lineWidth = 1.5;
  pen.beginPath();
  pen.moveTo(-2, 10);
  pen.lineTo(10, -2);
  pen.moveTo(-2, 2);
  pen.lineTo(2, -2);
  pen.moveTo(6, 10);
  pen.lineTo(10, 6);
  pen.stroke();
  return context.createPattern(tile, "repeat");
}
