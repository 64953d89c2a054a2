/* What the page tells the person: the connection, and what became of an entry. */

import { madeAt } from "./outbox.js";

export class Connection {
  constructor(clock) {
    this.clock = clock;
    this.bar = document.getElementById("offline");
  }

  draw({ downSince, count, durable, refusal }) {
    this.bar.hidden = downSince === null && !refusal && !(count && !durable);
    if (this.bar.hidden) return;
    const entries = count === 1 ? "1 entry waits" : `${count} entries wait`;
    const where = durable ? "on this tablet" : "in this page only: leave it open";
    document.getElementById("offline-since").textContent = downSince === null ? refusal : `No connection since ${this.clock(downSince)}.`;
    document.getElementById("offline-kept").textContent = count
      ? `Carry on: ${entries} ${where} and ${count === 1 ? "goes" : "go"} in later.`
      : "Carry on: what you enter is kept on this tablet and goes in later.";
  }
}

export class Notices {
  constructor() {
    this.bar = document.getElementById("said");
    this.waiting = [];
    document.getElementById("said-away").addEventListener("click", () => this.next());
  }

  /** `of`: what was tried, so that it can be said no more once it is done. */
  say(head, text, bad = false, of = "") {
    this.waiting.push({ head, text, bad, of });
    if (this.bar.hidden) this.next();
  }

  /** What a person waits for: shown at once, in place of what was said before of the same. */
  now(head, text, bad) {
    this.waiting.unshift({ head, text, bad });
    this.next();
  }

  /** The person went on: what was only good to know goes away. */
  passed() {
    this.waiting = this.waiting.filter((one) => one.bad);
    if (!this.bar.hidden && !this.bar.classList.contains("error")) this.next();
  }

  /** What was refused has been entered again and is saved. */
  mended(of) {
    this.waiting = this.waiting.filter((one) => one.of !== of);
    if (this.shown?.of === of) this.next();
  }

  next() {
    const one = this.waiting.shift();
    this.shown = one;
    this.bar.hidden = !one;
    if (!one) return;
    this.bar.classList.toggle("error", one.bad);
    document.getElementById("said-head").textContent = one.head;
    document.getElementById("said-text").textContent = one.text;
  }
}

/** What to say of an answer, or null where the page itself shows it. */
export function answerWords(result, entry, label, clock) {
  const at = entry ? ` at ${clock(madeAt(entry))}` : "";
  const hint = result.hint ? ` ${result.hint}` : "";
  if (result.state === "refused") return { head: `Refused: ${label}${at}.`, text: `${result.message || ""}${hint}`, bad: true };
  if (result.state === "conflict") return { head: "Both are kept.", text: `${result.message || ""}${hint}`, bad: true };
  const told = [...(result.questions || []), ...(result.told || [])];
  if (result.heat_to_mark) told.push(`Mark heat ${result.heat_to_mark} on ${result.remnant || "what is left"} before it leaves the table.`);
  if (result.kind === "check" && result.passed === false) return { head: "Not good.", text: told.join(" "), bad: true };
  return told.length ? { head: `Saved: ${label}.`, text: told.join(" "), bad: false } : null;
}
