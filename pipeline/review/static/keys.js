// Every key in one table: what it does is looked up here, and the help shows the same table.

import { el } from "./words.js";

export const KEYS = [
  ["Move", [
    [" ", "play", "play or pause", "space"],
    ["l", "faster", "play forwards; again: faster"],
    ["k", "pause", "pause"],
    ["j", "slower", "play backwards; again: faster"],
    ["ArrowLeft", "back", "one second back", "←"],
    ["ArrowRight", "on", "one second on", "→"],
    ["Shift+ArrowLeft", "back-far", "ten seconds back", "shift ←"],
    ["Shift+ArrowRight", "on-far", "ten seconds on", "shift →"],
    [",", "back-frame", "one picture back"],
    [".", "next-frame", "one picture on"],
    ["ArrowUp", "previous-border", "previous border", "↑"],
    ["ArrowDown", "next-border", "next border", "↓"],
    ["PageUp", "previous-moment", "previous moment", "page up"],
    ["PageDown", "next-moment", "next moment", "page down"],
    ["n", "next-doubt", "next to look at"],
    ["N", "last-place", "back to where I was", "shift n"],
    ["c", "loop", "repeat this segment"],
    ["<", "slow", "slower motion"],
    [">", "fast", "faster motion"],
  ]],
  ["Correct what is here", [
    ["a", "accept", "accept; the moment, where you went to one"],
    ["Enter", "accept-next", "accept and go to the next to look at", "enter"],
    ["r", "relabel", "another position: type its letter or name, then enter"],
    ["t", "top", "the other athlete is on top"],
    ["T", "nobody-top", "nobody is on top", "shift t"],
    ["s", "split", "split here"],
    ["m", "merge", "merge over the nearest border; the label here stays"],
    ["b", "border-here", "bring the nearest border here"],
    ["[", "border-earlier", "nearest border one sample earlier"],
    ["]", "border-later", "nearest border one sample later"],
    ["x", "swap", "exchange A and B from here on"],
    ["e", "moment", "add a moment: type its name, then enter"],
    ["A", "accept-moment", "accept the moment here", "shift a"],
    ["Delete", "remove-moment", "the moment here did not happen", "delete"],
    ["w", "note", "write a note (grips, underhooks, what no camera sees)"],
    ["(", "bout-start", "the bout starts here"],
    [")", "bout-end", "the bout ends here"],
    ["z", "undo", "undo, and go there"],
    ["y", "redo", "redo, and go there"],
    ["Ctrl+z", "undo", "undo", "ctrl z"],
    ["Ctrl+Shift+Z", "redo", "redo", "ctrl shift z"],
  ]],
  ["See", [
    ["d", "draw", "drawn skeletons on or off"],
    ["+", "zoom-in", "map: less time"],
    ["-", "zoom-out", "map: more time", "−"],
    ["0", "zoom-all", "map: whole bout"],
    ["o", "order", "next goes by worth or by time"],
    ["?", "help", "these keys"],
  ]],
];

/** What a key that is held down goes on doing; anything else it does once. */
const HELD = new Set([
  "back", "on", "back-far", "on-far", "back-frame", "next-frame", "previous-border", "next-border",
  "previous-moment", "next-moment", "border-earlier", "border-later", "zoom-in", "zoom-out",
]);

export const goesOn = (does) => HELD.has(does);

const BY_KEY = new Map(KEYS.flatMap(([, rows]) => rows.map(([key, does]) => [key, does])));

/** What a key press asks for, or undefined: typing and the browser's own keys are left alone. */
export function meaning(event, singleKeys) {
  if (event.altKey || event.metaKey && event.key !== "z") return undefined;
  // Wherever its focus went, an open dialog owns the keys.
  if (document.querySelector("dialog[open]")) return undefined;
  const { target } = event;
  // A dialog just closed keeps the focus for a moment; keys are for the page by then.
  const left = target.closest("dialog");
  if (!left && target.closest("input, textarea, select")) return undefined;
  if (!left && (event.key === "Enter" || event.key === " ") && target.closest("button, a")) return undefined;
  const arrow = event.key.startsWith("Arrow") && event.shiftKey ? "Shift+" : "";
  if (event.ctrlKey || event.metaKey) {
    return BY_KEY.get(`Ctrl+${event.shiftKey ? "Shift+" : ""}${event.key}`);
  }
  if (!singleKeys && event.key.length === 1 && event.key !== " ") return undefined;
  return BY_KEY.get(arrow + event.key) ?? (event.key === "=" ? "zoom-in" : undefined);
}

export function helpContent() {
  return KEYS.map(([title, rows]) =>
    el("section", {}, el("h3", {}, title),
      el("dl", {}, ...rows.flatMap(([key, , words, shown]) => [
        el("dt", {}, el("kbd", {}, shown ?? key)), el("dd", {}, words)]))));
}
