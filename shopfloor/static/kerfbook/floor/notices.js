/* What the page tells the person: the connection, and what became of an entry. */

import { madeAt } from "./outbox.js";
import { _, counted } from "./words.js";

function keptWords(count, durable) {
  if (!count) return _("Carry on: what you enter is kept on this tablet and goes in later.");
  return durable
    ? counted("Carry on: {n} entry waits on this tablet and goes in later.", "Carry on: {n} entries wait on this tablet and go in later.", count)
    : counted(
      "Carry on: {n} entry waits in this page only and goes in later: leave it open.",
      "Carry on: {n} entries wait in this page only and go in later: leave it open.", count);
}

const heatWords = (heat, remnant) => (remnant
  ? _("Mark heat {heat} on {remnant} before it leaves the table.", { heat, remnant })
  : _("Mark heat {heat} on what is left before it leaves the table.", { heat }));

export class Connection {
  constructor(clock) {
    this.clock = clock;
    this.bar = document.getElementById("offline");
  }

  draw({ downSince, count, durable, refusal }) {
    this.bar.hidden = downSince === null && !refusal && !(count && !durable);
    if (this.bar.hidden) return;
    document.getElementById("offline-since").textContent = downSince === null ? refusal : _("No connection since {at}.", { at: this.clock(downSince) });
    document.getElementById("offline-kept").textContent = keptWords(count, durable);
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
  const refused = entry ? _("Refused: {what} at {at}.", { what: label, at: clock(madeAt(entry)) }) : _("Refused: {what}.", { what: label });
  const hint = result.hint ? ` ${result.hint}` : "";
  if (result.state === "refused") return { head: refused, text: `${result.message || ""}${hint}`, bad: true };
  if (result.state === "conflict") return { head: _("Both are kept."), text: `${result.message || ""}${hint}`, bad: true };
  const told = [...(result.questions || []), ...(result.told || [])];
  if (result.heat_to_mark) told.push(heatWords(result.heat_to_mark, result.remnant));
  if (result.kind === "check" && result.passed === false) return { head: _("Not good."), text: told.join(" "), bad: true };
  return told.length ? { head: _("Saved: {what}.", { what: label }), text: told.join(" "), bad: false } : null;
}
