/* Asks for the state every second or two; an unchanged one is answered without a body. */

const EVERY_MS = 1500;
const HIDDEN_MS = 15000;
const GIVE_UP_MS = 5000;

export class Poll {
  constructor({ root, screens, outbox, fresh, gone }) {
    Object.assign(this, { root, screens, outbox, fresh, gone });
    this.askedAt = 0; // by the page's counter
    this.heard = null; // what the server's clock said when it last answered, and the counter then
    this.timer = null;
    this.asking = false;
    this.offsetMs = 0;
  }

  now() {
    return Date.now() + this.offsetMs;
  }

  /** The counter stands still while the tablet sleeps: the server sees by this for how long. */
  counted(at) {
    return this.heard ? { heard_ms: this.heard.ms, counted_s: Math.round((at - this.heard.at) / 1000) } : {};
  }

  soon() {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.ask(), 30);
  }

  async ask() {
    clearTimeout(this.timer);
    if (this.asking) return;
    this.asking = true;
    const startedAt = performance.now();
    const sentMs = Date.now();
    const touched = (this.screens.touchedAt ?? 0) > this.askedAt ? "1" : "";
    const stop = new AbortController();
    const clock = setTimeout(() => stop.abort(), GIVE_UP_MS);
    try {
      const idle_s = this.screens.touchedAt === null ? "" : Math.round(this.screens.idleMs / 1000);
      const query = new URLSearchParams({ have: this.root.dataset.version || "", touched, idle_s, ...this.counted(startedAt) });
      const reply = await fetch(`${this.root.dataset.stateUrl}?${query}`, { credentials: "same-origin", signal: stop.signal, cache: "no-store" });
      if (reply.status >= 500) throw new Error("the server could not answer");
      this.askedAt = startedAt;
      this.outbox.reached();
      if (reply.status === 401 || reply.status === 403) this.gone();
      else {
        const nowMs = Number(reply.headers.get("X-Now-Ms") || sentMs);
        this.heard = { ms: nowMs, at: startedAt };
        this.offsetMs = nowMs - sentMs;
        this.outbox.aheadMs = -this.offsetMs;
        const html = reply.status === 200 ? await reply.text() : "";
        this.fresh(html && new DOMParser().parseFromString(html, "text/html").getElementById("screens"), startedAt);
      }
    } catch {
      this.outbox.missed();
    } finally {
      clearTimeout(clock);
      this.asking = false;
      this.timer = setTimeout(() => this.ask(), document.hidden ? HIDDEN_MS : EVERY_MS);
    }
  }
}
