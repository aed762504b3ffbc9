// Undo and redo: what they did, in words, and where.

import { placeOf } from "./timeline.js";
import { clock } from "./words.js";

/** What one correction did, as a person would say it. */
const DID = {
  accept: ({ row, words }) => `accepted ${words.sentence(row)}`,
  relabel: ({ args, words }) => `position ${words.position(args.position)}`,
  set_top: ({ args, words }) => (args.top ? `${words.short(args.top)} on top` : "nobody on top"),
  note: () => "note",
  split: () => "split",
  merge: () => "merge",
  move_border: () => "border moved",
  add_segment: ({ args, words }) => `added ${words.position(args.position)}`,
  remove_segment: ({ row, words }) => `removed ${words.sentence(row)}`,
  set_bounds: () => "start and end of the bout",
  swap_athletes: () => "exchange of A and B",
  accept_moment: ({ row, words }) => `accepted ${words.sentence(row)}`,
  add_moment: ({ row, words }) => `added ${words.sentence(row)}`,
  edit_moment: ({ row, words }) => `changed ${words.sentence(row)}`,
  remove_moment: ({ row, words }) => `removed ${words.sentence(row)}`,
};
const WITHIN = new Set(["accept", "relabel", "set_top", "note"]); // anywhere in the segment shows it

/**
 * What a step did and where: { sentence, time, row }. `before` and `after` find rows by id in the
 * timeline as it was and as it is now; `shown` is the time of the playhead.
 */
export function told(which, { count, action, arguments: args }, before, after, words, shown) {
  const id = args.segment ?? args.moment ?? args.id;
  const row = after(id) ?? before(id);
  const time = place(action, args, row, shown);
  const what = count > 1 ? `an import of ${count} corrections` : `${DID[action]({ args, row, words })}, at ${clock(time, 1)}`;
  return { sentence: `${which === "undo" ? "Undone" : "Made again"}: ${what}.`, time, row };
}

function place(action, args, row, shown) {
  const near = (...times) => times.reduce((best, time) => (Math.abs(time - shown) < Math.abs(best - shown) ? time : best));
  if (action === "set_bounds") return near(args.start_s, args.end_s);
  if (action === "move_border") return row[`${args.edge}_s`];
  if (WITHIN.has(action) && row.start_s <= shown && shown < row.end_s) return shown;
  return args.time_s ?? args.from_s ?? placeOf(row ?? args);
}
