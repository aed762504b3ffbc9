// The timeline as the page holds it: always what the server last confirmed.

const TOUCHING = 1e-6;

export class Timeline {
  constructor(state) {
    this.take(state);
  }

  /** Replace everything, after loading. */
  take(state) {
    this.segments = state.segments;
    this.moments = state.moments;
    this.note(state);
  }

  /** Put a confirmed change in. */
  apply(change) {
    const gone = new Set([...change.gone, ...change.segments.map((s) => s.id), ...change.moments.map((m) => m.id)]);
    this.segments = inOrder(this.segments.filter((s) => !gone.has(s.id)).concat(change.segments));
    this.moments = inOrder(this.moments.filter((m) => !gone.has(m.id)).concat(change.moments));
    this.note(change);
  }

  note({ revision, undoes, redoes, bounds }) {
    Object.assign(this, { revision, undoes, redoes, bounds });
  }

  find(id) {
    return this.segments.find((s) => s.id === id) ?? this.moments.find((m) => m.id === id);
  }

  /** Everything in order of time, a segment before the moments in it. */
  rows() {
    return [...this.segments, ...this.moments].sort((one, two) => placeOf(one) - placeOf(two) || isMoment(one) - isMoment(two));
  }

  /** What nobody has looked at yet, in order. */
  open() {
    return this.rows().filter((row) => row.state === "proposed");
  }

  /** Number of the last segment that starts at or before a time; -1 before the first. */
  numberAt(time) {
    let low = 0;
    let high = this.segments.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (this.segments[middle].start_s <= time + TOUCHING) low = middle + 1;
      else high = middle;
    }
    return low - 1;
  }

  at(time) {
    const segment = this.segments[this.numberAt(time)];
    return segment && time < segment.end_s - TOUCHING ? segment : null;
  }

  /** The moment that holds a time, or lies within half a second of it; the one preferred if it does. */
  momentAt(time, preferred = null, reach = 0.5) {
    const near = this.moments.filter((m) => m.start_s - reach <= time && time <= m.end_s + reach);
    const away = (m) => (m.id === preferred ? -1 : Math.abs(m.peak_s - time));
    return near.length ? near.reduce((best, m) => (away(m) < away(best) ? m : best)) : null;
  }

  /** All borders around a time, nearest first: { segment, edge, time }. */
  borderNear(time) {
    const number = this.numberAt(time);
    const candidates = this.segments.slice(Math.max(0, number - 1), number + 2).flatMap((segment) => [
      { segment, edge: "start", time: segment.start_s },
      { segment, edge: "end", time: segment.end_s },
    ]);
    candidates.sort((one, two) => Math.abs(one.time - time) - Math.abs(two.time - time));
    return candidates[0] ?? null;
  }

  borders() {
    const times = this.segments.flatMap((s) => [s.start_s, s.end_s]);
    return times.filter((time, i) => i === 0 || time - times[i - 1] > TOUCHING);
  }

  /** Segments that touch [start, end]. */
  between(start, end) {
    const first = Math.max(0, this.numberAt(start));
    return this.segments.slice(first, this.numberAt(end) + 1);
  }
}

export const isMoment = (row) => "kind" in row;

/** Where a row belongs in the list, and where a click on it goes. */
export const placeOf = (row) => row.peak_s ?? row.start_s;

const inOrder = (rows) => rows.sort((one, two) => one.start_s - two.start_s);

/** Of rising numbers, the first above (direction 1) or last below (-1) a value. */
export function nextIn(values, value, direction, apart = 1e-3) {
  if (direction > 0) return values.find((v) => v > value + apart);
  return values.findLast((v) => v < value - apart);
}
