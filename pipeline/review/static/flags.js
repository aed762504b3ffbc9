// Flags of moments on the map: where each finds room, and how it is drawn. What scores comes first;
// what finds no room in any row keeps a short pole.

import { momentCode } from "./looks.js";

export const ROW_H = 17;
const MOST_ROWS = 3;
const GAP = 3;
const FLAG_H = 14;
const FIRST = [
  "takedown", "sweep", "guard_pass", "mount_taken", "back_taken", "knee_on_belly_taken", "reversal",
  "stand_up", "rise", "lift",
];

/** As many rows of flags as leave most of a height to what is above them. */
export const rowsIn = (height) => Math.max(1, Math.min(MOST_ROWS, Math.floor(height / 2 / ROW_H)));

/**
 * Return { moment, text, x, left, wide, row } for each moment between `left` and `right`; row 0 is
 * the lowest, null where there is no room. `x(time)` and `measure(text)` are in pixels.
 */
export function placeFlags(moments, { x, measure, left, right, rows }) {
  const taken = Array.from({ length: rows }, () => []);
  const byRank = moments
    .map((moment) => ({ moment, x: x(moment.peak_s), text: `${moment.athlete ?? ""} ${momentCode(moment.kind)}`.trim() }))
    .filter((flag) => flag.x >= left && flag.x <= right)
    .sort((one, two) => rank(one.moment) - rank(two.moment) || one.x - two.x);
  for (const flag of byRank) {
    flag.wide = measure(flag.text) + 8;
    flag.left = flag.x + flag.wide > right ? flag.x - flag.wide : flag.x;
    const [from, to] = [flag.left, flag.left + flag.wide + GAP];
    const row = taken.findIndex((others) => others.every(([start, end]) => to <= start || from >= end));
    flag.row = row < 0 ? null : row;
    if (row >= 0) taken[row].push([from, to]);
  }
  return byRank;
}

function rank({ kind }) {
  const attempt = kind.endsWith("_attempt");
  return FIRST.indexOf(kind.replace(/_attempt$/, "")) + (attempt ? FIRST.length : 0);
}

export function drawFlags(context, flags, bottom, colours) {
  const colour = ({ athlete }) => ({ A: colours.a, B: colours.b }[athlete] ?? colours.soft);
  context.lineWidth = 1.5;
  for (const flag of flags) {
    context.strokeStyle = colour(flag.moment);
    context.beginPath();
    context.moveTo(flag.x, flag.row === null ? bottom - 4 : topOf(flag, bottom));
    context.lineTo(flag.x, bottom);
    context.stroke();
  }
  context.font = FLAG_FONT;
  context.textBaseline = "middle";
  context.textAlign = "left";
  for (const flag of flags.filter(({ row }) => row !== null)) drawFlag(context, flag, bottom, colour(flag.moment), colours);
}

export const FLAG_FONT = "600 11px system-ui, sans-serif";

function drawFlag(context, flag, bottom, colour, colours) {
  const attempt = flag.moment.kind.endsWith("_attempt");
  const top = topOf(flag, bottom);
  context.fillStyle = attempt ? colours.ground : colour;
  context.fillRect(flag.left, top, flag.wide, FLAG_H);
  if (attempt) {
    context.strokeStyle = colour;
    context.setLineDash([3, 2]);
    context.strokeRect(flag.left, top, flag.wide, FLAG_H);
    context.setLineDash([]);
  }
  context.fillStyle = attempt ? colour : colours.ground;
  context.fillText(flag.text, flag.left + 4, top + FLAG_H / 2 + 0.5);
}

const topOf = ({ row }, bottom) => bottom - (row + 1) * ROW_H;

/** The flag, or the pole, under a point. */
export function flagAt(flags, bottom, { x, y }) {
  if (y > bottom) return null;
  const on = ({ row, left, wide }) => row !== null && x >= left && x <= left + wide && Math.abs(y - topOf({ row }, bottom) - FLAG_H / 2) <= ROW_H / 2;
  return flags.find(on) ?? flags.find((flag) => flag.row === null && y > bottom - 8 && Math.abs(x - flag.x) <= 2) ?? null;
}
