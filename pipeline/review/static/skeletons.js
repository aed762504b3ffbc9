// Drawn skeletons: what the reader saw, over the picture.

import { getBytes } from "./api.js";

const WINDOW_S = 60;
const BRIDGE_S = 0.6; // between samples closer than this, joints move in a straight line
const SHOWN_FROM = 0.15; // confidence below this is a guess that would only distract
const JOINTS = 17;
const COLOURS = ["#56b4e9", "#e69f00"]; // Okabe and Ito's lighter two: the picture is the ground here
const NUMBERS = 2 * JOINTS * 3;
// Pairs of keypoints, COCO order (cocodataset.org), head reduced to nose and ears.
const LIMBS = [
  [15, 13], [13, 11], [16, 14], [14, 12], [11, 12], [5, 11], [6, 12], [5, 6],
  [5, 7], [6, 8], [7, 9], [8, 10], [0, 3], [0, 4],
];

export class Keypoints {
  constructor(boutId, onArrival) {
    this.boutId = boutId;
    this.onArrival = onArrival;
    this.windows = new Map();
  }

  /** After A and B were exchanged, what was fetched is no longer true. */
  forget() {
    this.windows.clear();
  }

  /** Keypoints at a time, Float32Array(2 × 17 × 3), or null where there are none (yet). */
  at(time) {
    const window = this.window(time);
    if (!window?.times.length) return null;
    const { times, points } = window;
    let next = 0;
    while (next < times.length && times[next] <= time + 1e-4) next++;
    const before = Math.max(0, next - 1);
    const sample = (i) => points.subarray(i * NUMBERS, (i + 1) * NUMBERS);
    if (Math.abs(times[before] - time) > 2 * BRIDGE_S) return null;
    if (next >= times.length || next === 0 || times[next] - times[before] > BRIDGE_S) return sample(before);
    const part = (time - times[before]) / (times[next] - times[before]);
    const [one, two] = [sample(before), sample(next)];
    return one.map((value, i) => {
      const between = value + part * (two[i] - value);
      return Number.isNaN(between) ? (part < 0.5 ? value : two[i]) : between;
    });
  }

  window(time) {
    const number = Math.floor(time / WINDOW_S);
    if (!this.windows.has(number)) {
      this.windows.set(number, null);
      this.fetch(number);
    }
    return this.windows.get(number);
  }

  async fetch(number) {
    const start = number * WINDOW_S;
    // One second of overlap, so that the last sample of a window has its successor.
    const path = `/api/bouts/${this.boutId}/keypoints?start_s=${start}&end_s=${start + WINDOW_S + 1}`;
    try {
      const bytes = await getBytes(path);
      const count = new Float64Array(bytes, 0, 1)[0];
      this.windows.set(number, {
        times: new Float64Array(bytes, 8, count),
        points: new Float32Array(bytes, 8 + 8 * count),
      });
      this.onArrival();
    } catch {
      this.windows.delete(number);
    }
  }
}

/** Draw both skeletons; A with full lines and square joints, B with dashes and round joints. */
export function draw(canvas, keypoints, frameSize) {
  const ratio = devicePixelRatio || 1;
  const { clientWidth: width, clientHeight: height } = canvas;
  if (canvas.width !== Math.round(width * ratio)) canvas.width = Math.round(width * ratio);
  if (canvas.height !== Math.round(height * ratio)) canvas.height = Math.round(height * ratio);
  const context = canvas.getContext("2d");
  context.setTransform(1, 0, 0, 1, 0, 0);
  context.clearRect(0, 0, canvas.width, canvas.height);
  if (!keypoints || !frameSize[0]) return;
  const scale = Math.min(width / frameSize[0], height / frameSize[1]);
  const left = (width - scale * frameSize[0]) / 2;
  const top = (height - scale * frameSize[1]) / 2;
  context.setTransform(ratio * scale, 0, 0, ratio * scale, ratio * left, ratio * top);
  for (const body of [0, 1]) drawBody(context, keypoints.subarray(body * JOINTS * 3), body, 1 / scale, COLOURS[body]);
}

function drawBody(context, points, body, pixel, colour) {
  const seen = (j) => points[3 * j + 2] >= SHOWN_FROM && !Number.isNaN(points[3 * j]);
  const x = (j) => points[3 * j];
  const y = (j) => points[3 * j + 1];
  const path = new Path2D();
  for (const [from, to] of LIMBS) {
    if (!seen(from) || !seen(to)) continue;
    path.moveTo(x(from), y(from));
    path.lineTo(x(to), y(to));
  }
  context.lineCap = "round";
  for (const [width, style, dash] of [[5, "#000b", []], [2.5, colour, body ? [7, 5] : []]]) {
    context.lineWidth = width * pixel;
    context.strokeStyle = style;
    context.setLineDash(dash.map((d) => d * pixel));
    context.stroke(path);
  }
  context.setLineDash([]);
  context.fillStyle = colour;
  for (let j = 5; j < JOINTS; j++) {
    if (!seen(j)) continue;
    const size = 3.5 * pixel;
    context.beginPath();
    if (body) context.arc(x(j), y(j), size, 0, 7);
    else context.rect(x(j) - size, y(j) - size, 2 * size, 2 * size);
    context.fill();
  }
  const head = [0, 3, 4, 1, 2].find(seen) ?? [5, 6, 11, 12].find(seen);
  if (head === undefined) return;
  context.font = `700 ${16 * pixel}px system-ui, sans-serif`;
  context.textAlign = "center";
  context.lineWidth = 4 * pixel;
  context.strokeStyle = "#000";
  const place = ["AB"[body], x(head), y(head) - 12 * pixel];
  context.strokeText(...place);
  context.fillText(...place);
}
