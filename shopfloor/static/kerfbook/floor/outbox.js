/* What was entered here and is not yet acknowledged. Every entry is kept on the device first and
   sent afterwards; it leaves the list only when the server has said what became of it. */

import { _ } from "./words.js";

const FIRST_WAIT_MS = 1000;
const LONGEST_WAIT_MS = 20000;
const GIVE_UP_MS = 8000;
const AT_ONCE = 20;

/** A random UUID. crypto.randomUUID is missing on plain HTTP, getRandomValues is not. */
export function newId() {
  const b = crypto.getRandomValues(new Uint8Array(16));
  b[6] = (b[6] & 0x0f) | 0x40;
  b[8] = (b[8] & 0x3f) | 0x80;
  const hex = Array.from(b, (n) => n.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

/** What entries of one touch share, so that one undo takes them all back; nothing for a single one. */
export const oneTouch = (entries) => (entries > 1 ? { touch: newId() } : {});

export function csrf() {
  const found = document.cookie.match(/(?:^|; )csrftoken=([^;]+)/);
  return found ? decodeURIComponent(found[1]) : "";
}

/** When an entry was made by the shop's clock, as far as the tablet knows it: one clock for all that is shown. */
export const madeAt = (entry) => new Date(Date.parse(entry.device_at) - (entry.known_ms ?? 0));

/** How old an entry is by the page's counter, which no correction of the clock moves; it counts only within one life
    of the page. */
function readings(entry) {
  const age_ms = entry.life === performance.timeOrigin ? Math.round(performance.now() - entry.counted) : null;
  return { age_ms, known_ms: entry.known_ms ?? null };
}

export class Outbox {
  /** `changed` is called after anything that the page may have to show. */
  constructor({ table, url, changed, answered }) {
    this.key = `kerfbook.outbox.${table}`;
    this.url = url;
    this.changed = changed;
    this.answered = answered;
    this.memory = [];
    this.durable = true;
    this.downSince = null;
    this.refusal = "";
    this.wait = FIRST_WAIT_MS;
    this.atOnce = AT_ONCE;
    this.sending = false;
    this.timer = null;
    this.carried();
    addEventListener("pagehide", () => this.carry());
    this.aheadMs = null; // how far this tablet's clock was ahead when the server last answered
  }

  read() {
    if (!this.durable) return this.memory;
    try {
      return JSON.parse(localStorage.getItem(this.key) || "[]");
    } catch {
      this.durable = false;
      return this.memory;
    }
  }

  write(entries) {
    this.memory = entries;
    if (!this.durable) return;
    try {
      localStorage.setItem(this.key, JSON.stringify(entries));
    } catch {
      this.durable = false; // full or forbidden: kept while the page stays open, and the page says so
    }
  }

  /** The counter ends with the page: how old each entry is then goes over to the next page, where it counts on. */
  carry() {
    const aged = this.read().map((e) => (e.life === performance.timeOrigin ? { ...e, aged: performance.now() - e.counted } : e));
    if (aged.length) this.write(aged);
  }

  carried() {
    const entries = this.read();
    if (!entries.some((e) => e.aged !== undefined)) return;
    this.write(entries.map(({ aged, ...e }) => (aged === undefined ? e : { ...e, counted: performance.now() - aged, life: performance.timeOrigin })));
  }

  add(kind, payload, by, shown) {
    const entry = { id: newId(), kind, payload, by, device_at: new Date().toISOString(), counted: performance.now(), life: performance.timeOrigin, known_ms: this.aheadMs, shown };
    this.write([...this.read(), entry]);
    this.changed();
    this.send();
    return entry;
  }

  /** The network answered (a poll did): send at once rather than at the end of the wait. */
  reached() {
    if (this.downSince !== null) {
      this.downSince = null;
      this.changed();
    }
    this.wait = FIRST_WAIT_MS;
    if (this.read().length) this.send();
  }

  missed() {
    if (this.downSince === null) this.downSince = new Date(Date.now() - (this.aheadMs ?? 0));
    this.changed();
  }

  later() {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.send(), this.wait * (0.8 + 0.4 * Math.random()));
    this.wait = Math.min(this.wait * 2, LONGEST_WAIT_MS);
  }

  async send() {
    const entries = this.read().slice(0, this.atOnce);
    if (this.sending || !entries.length) return;
    this.sending = true;
    clearTimeout(this.timer);
    const stop = new AbortController();
    const clock = setTimeout(() => stop.abort(), GIVE_UP_MS);
    try {
      const sent_at = new Date().toISOString();
      const reply = await fetch(this.url, {
        method: "POST",
        credentials: "same-origin",
        headers: { "Content-Type": "application/json", "X-CSRFToken": csrf() },
        body: JSON.stringify({ actions: entries.map((e) => ({ id: e.id, kind: e.kind, payload: e.payload, by: e.by, device_at: e.device_at, sent_at, ...readings(e) })) }),
        signal: stop.signal,
      });
      await this.take(reply);
    } catch {
      this.missed();
      this.later();
    } finally {
      clearTimeout(clock);
      this.sending = false;
      this.changed();
    }
    if (this.read().length && this.downSince === null && !this.refusal) this.later();
  }

  async take(reply) {
    if (reply.status >= 500) throw new Error("the server could not answer");
    if (reply.status === 413 && this.atOnce > 1) {
      this.atOnce = Math.ceil(this.atOnce / 2); // too much at once: in smaller deliveries
      return;
    }
    if (!reply.ok) {
      this.refusal = reply.status === 403 ? _("Sign in again, then what is kept here goes in.") : _("The server did not take it.");
      this.downSince = null;
      this.later();
      return;
    }
    const { results } = await reply.json();
    const done = new Set(results.map((r) => r.id));
    const sent = this.read();
    this.write(sent.filter((e) => !done.has(e.id)));
    this.refusal = "";
    this.downSince = null;
    this.wait = FIRST_WAIT_MS;
    this.atOnce = AT_ONCE;
    for (const result of results) this.answered(result, sent.find((e) => e.id === result.id));
  }
}
