// Drawing the map of a bout: heights, bands, flags, doubt. What `map` gives: its view and pixels.

import { bandStyle, positionCode } from "./looks.js";
import { clock } from "./words.js";

export const LANE_H = 20;
export const DOUBT_H = 12;
export const AXIS_H = 18;
export const LEFT = 26;
const TICKS_S = [0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600];

export function drawFrame(map, context, rows, colours, width) {
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
  drawAxis(map, context, rows, colours, width);
}

function drawAxis(map, context, rows, colours, width) {
  const perPixel = (map.view[1] - map.view[0]) / map.width;
  const step = TICKS_S.find((s) => s / perPixel > 70) ?? TICKS_S.at(-1);
  context.strokeStyle = colours.hair;
  context.fillStyle = colours.soft;
  context.lineWidth = 1;
  context.font = "12px system-ui, sans-serif";
  for (let time = Math.ceil(map.view[0] / step) * step; time <= map.view[1]; time += step) {
    const x = map.x(time);
    context.beginPath();
    context.moveTo(x, 0);
    context.lineTo(x, rows.axis);
    context.stroke();
    if (x > LEFT + 12 && x < width - 18) context.fillText(clock(time, step < 1 ? 1 : 0), x, rows.axis + AXIS_H / 2 + 1);
  }
}

export function drawTraces(map, context, [top, bottom], colours) {
  const highest = Math.max(1.5, ...map.traces.slice(0, 1).map(ceiling));
  const y = (height) => bottom - (Math.max(0, height) / highest) * (bottom - top);
  const trace = map.traces[1] && map.traces[1].span[0] <= map.view[0] && map.traces[1].span[1] >= map.view[1]
    ? map.traces[1] : map.traces[0];
  if (!trace) return;
  drawUnseen(map, context, trace, [top, bottom], colours);
  for (const [letter, colour, dash] of [["B", colours.b, [6, 3]], ["A", colours.a, []]]) {
    context.strokeStyle = colour;
    context.lineWidth = 1.8;
    context.lineJoin = "round";
    context.setLineDash(dash);
    context.beginPath();
    let pen = false;
    trace.time_s.forEach((time, i) => {
      if (time < map.view[0] - 60 || time > map.view[1] + 60) return;
      const height = trace[letter][i];
      if (height === null) pen = false;
      else if (pen) context.lineTo(map.x(time), y(height));
      else context.moveTo(map.x(time), y(height));
      pen = height !== null;
    });
    context.stroke();
  }
  context.setLineDash([]);
}

/** Where the reader hardly saw the two, the ground is hatched. */
function drawUnseen(map, context, trace, [top, bottom], colours) {
  const poor = trace.seen.map((seen) => seen < 0.3);
  context.fillStyle = hatch(context, colours.hair);
  let from = null;
  trace.time_s.forEach((time, i) => {
    if (poor[i] && from === null) from = time;
    if (from !== null && (!poor[i] || i === poor.length - 1)) {
      context.fillRect(map.x(from), top, Math.max(1, map.x(time) - map.x(from)), bottom - top);
      from = null;
    }
  });
}

export function drawBands(map, context, rows, colours) {
  context.textBaseline = "middle";
  context.textAlign = "left";
  const shown = map.timeline.between(...map.view);
  const lowest = new Map(); // one bar a pixel column: the most doubtful wins
  for (const segment of shown) {
    const x = map.x(segment.start_s);
    const width = Math.max(1, map.x(segment.end_s) - x - 1);
    const y = rows.lanes + ({ A: 0, B: 2 }[segment.top] ?? 1) * LANE_H;
    drawBand(map, context, segment, x, y, width, colours);
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

function drawBand(map, context, segment, x, y, width, colours) {
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
  const name = mark + map.words.position(segment.position);
  const code = mark + positionCode(segment.position);
  const text = [name, code].find((t) => context.measureText(t).width < width - 6);
  if (!text) return;
  const wide = context.measureText(text).width;
  context.fillStyle = style.plate;
  context.fillRect(x + 2, y + 4, wide + 4, LANE_H - 8);
  context.fillStyle = style.text;
  context.fillText(text, x + 4, y + LANE_H / 2 + 0.5);
}

export function drawBounds(map, context, rows, colours, width) {
  if (!map.timeline.bounds) return;
  context.fillStyle = hatch(context, colours.line);
  const start = map.x(map.timeline.bounds.start_s);
  const end = map.x(map.timeline.bounds.end_s);
  if (start > LEFT) context.fillRect(LEFT, 0, start - LEFT, rows.axis);
  if (end < width) context.fillRect(end, 0, width - end, rows.axis);
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
