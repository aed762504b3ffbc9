// How much of the human's time the correcting takes: counted here, kept with the bout.

import { post } from "./api.js";

const IDLE_MS = 30_000; // longer without a key or a click is a break, not work

export class Effort {
  constructor(boutId) {
    this.boutId = boutId;
    this.clear();
    this.last = null;
    addEventListener("keydown", (event) => event.isTrusted && this.did("keys"), { capture: true });
    addEventListener("pointerdown", (event) => event.isTrusted && this.did("clicks"), { capture: true });
    document.addEventListener("visibilitychange", () => document.hidden && this.flush());
  }

  clear() {
    Object.assign(this, { keys: 0, clicks: 0, ms: 0 });
  }

  did(what) {
    const now = performance.now();
    if (this.last !== null) this.ms += Math.min(now - this.last, IDLE_MS);
    this.last = now;
    this[what] += 1;
  }

  /** What was spent since the last call. */
  take() {
    const spent = { seconds: Math.round(this.ms) / 1000, keys: this.keys, clicks: this.clicks };
    this.clear();
    return spent;
  }

  flush() {
    const spent = this.take();
    if (spent.keys + spent.clicks > 0) {
      post(`/api/bouts/${this.boutId}/effort`, spent, { keepalive: true }).catch(() => {});
    }
  }
}
