/* The screens of the terminal all lie in the page; showing one needs no network. A newer state
   from the server replaces a screen only while nobody is in the middle of it. */

import { _ } from "./words.js";

const QUIET_MS = 350; // a tap that began on a key must end on the same key

export class Screens {
  constructor(root) {
    this.root = root;
    this.latest = null;
    this.touchedAt = null; // by the page's counter, which nobody sets; null: not since the page opened
    this.down = false;
    this.waiting = false;
    const press = () => { this.down = true; this.touchedAt = performance.now(); };
    const lift = () => { this.down = false; this.touchedAt = performance.now(); };
    document.addEventListener("pointerdown", press, true);
    document.addEventListener("pointerup", lift, true);
    document.addEventListener("pointercancel", lift, true);
    document.addEventListener("keydown", () => { this.touchedAt = performance.now(); }, true);
  }

  /** Milliseconds since somebody touched it; since the page opened where nobody did. */
  get idleMs() {
    return performance.now() - (this.touchedAt ?? 0);
  }

  get shown() {
    return this.root.dataset.shown || "main";
  }

  section(name, within = this.root) {
    return within.querySelector(`[data-screen="${name}"]`);
  }

  go(name) {
    const to = this.section(name);
    if (!to) return;
    const from = this.section(this.shown);
    if (from && from !== to) delete from.dataset.busy;
    for (const one of this.root.querySelectorAll("[data-screen]")) one.hidden = one !== to;
    this.root.dataset.shown = name;
    window.scrollTo(0, 0);
    this.apply();
    this.root.dispatchEvent(new CustomEvent("shown", { detail: name }));
    const head = this.section(name).querySelector("[data-head]");
    if (head) head.focus({ preventScroll: true });
  }

  /** A screen somebody has begun to fill is left alone until it is left. */
  busy(element) {
    const screen = element.closest("[data-screen]");
    if (screen && screen.dataset.screen !== "main") screen.dataset.busy = "yes";
  }

  offer(fresh) {
    this.latest = fresh;
    this.apply();
  }

  /** What was written over the screens while an entry was on its way stands no more: the next
      state replaces them even where it is the one they were made from. */
  drawnOver() {
    for (const one of this.root.querySelectorAll("[data-screen]")) delete one.dataset.from;
  }

  apply() {
    if (!this.latest) return;
    if (this.down || (this.touchedAt !== null && this.idleMs < QUIET_MS)) {
      if (!this.waiting) setTimeout(() => { this.waiting = false; this.apply(); }, QUIET_MS);
      this.waiting = true;
      return;
    }
    for (const now of this.root.querySelectorAll("[data-screen]")) {
      const next = this.section(now.dataset.screen, this.latest);
      if (!next || now.dataset.busy || next.outerHTML === now.dataset.from) continue;
      const focused = keys(now).indexOf(document.activeElement); // a key by its place: most have no id
      const copy = document.importNode(next, true);
      copy.dataset.from = next.outerHTML;
      copy.hidden = now.dataset.screen !== this.shown;
      now.replaceWith(copy);
      if (focused >= 0) keys(copy)[focused]?.focus({ preventScroll: true });
    }
    this.added();
    for (const name of ["state", "version", "as-of"]) {
      const value = this.latest.getAttribute(`data-${name}`);
      if (value !== null) this.root.setAttribute(`data-${name}`, value);
    }
    this.root.dispatchEvent(new CustomEvent("applied"));
  }

  /** A nest that moved up in the queue brings a screen of its own; one that left takes its away.
      One that was scanned for stays: a refused start asks its question there. */
  added() {
    for (const next of this.latest.querySelectorAll("[data-screen]")) {
      const mine = this.section(next.dataset.screen);
      if (mine) delete mine.dataset.scanned;
      else this.put(next);
    }
    for (const now of this.root.querySelectorAll("[data-screen]")) {
      const gone = !this.section(now.dataset.screen, this.latest);
      if (gone && now.dataset.screen !== this.shown && now.dataset.scanned === undefined) now.remove();
    }
    this.ordered();
  }

  put(screen) {
    const copy = document.importNode(screen, true);
    copy.dataset.from = screen.outerHTML;
    copy.hidden = true;
    this.section(screen.dataset.screen)?.remove();
    this.root.append(copy);
    return copy;
  }

  /** The starts lie in the order of the list: a code that is on several opens the first of them. */
  ordered() {
    let behind = null;
    for (const next of [...this.latest.querySelectorAll("[data-screen^=start-]")].reverse()) {
      const mine = this.section(next.dataset.screen);
      if (behind && mine.nextElementSibling !== behind && mine.dataset.screen !== this.shown) this.root.insertBefore(mine, behind);
      behind = mine;
    }
  }

  /** A start that was scanned for and is not among the next in the queue. */
  scanned(html) {
    const found = new DOMParser().parseFromString(html, "text/html");
    const screen = this.put(found.querySelector("[data-screen]"));
    screen.dataset.scanned = "yes";
    this.go(screen.dataset.screen);
  }
}

const keys = (screen) => [...screen.querySelectorAll("input,button,a,select,textarea")];
const picks = (field) => field.type === "radio" || field.type === "checkbox";
const named = (form) => [...form.elements].filter((field) => field.name && !field.closest("[hidden]"));

/** What was filled into a form, as the payload of an entry. Empty fields are left out: nothing
    entered is not the same as zero. Lengths typed in inches leave as millimetres. */
export function filled(form) {
  const payload = JSON.parse(form.dataset.payload || "{}");
  for (const field of named(form)) {
    if ((picks(field) && !field.checked) || field.value === "") continue;
    let value = field.value;
    if (field.dataset.number !== undefined) value = Number(value.replace(",", ".")) * Number(field.dataset.scale || 1);
    if (field.dataset.flag !== undefined) value = value === "yes";
    payload[field.name] = value;
  }
  return payload;
}

/** In words, what must still be filled in; nothing where all is there. */
export function missing(form) {
  const wanted = new Map();
  for (const field of named(form)) {
    if (field.dataset.number !== undefined && field.value !== "" && Number.isNaN(Number(field.value.replace(",", ".")))) wanted.set(field, { ok: false, say: _("a figure, not “{value}”", { value: field.value }) });
    if (!field.dataset.need) continue;
    const before = wanted.get(field.name);
    wanted.set(field.name, { ok: Boolean(before?.ok) || (picks(field) ? field.checked : field.value.trim() !== ""), say: field.dataset.need });
  }
  return [...wanted.values()].filter((one) => !one.ok).map((one) => one.say);
}

/** − and + beside a figure. Starts from the figure's own start value when empty. */
export function step(button) {
  const field = document.getElementById(button.dataset.for);
  const by = Number(button.dataset.step);
  const digits = (button.dataset.step.split(".")[1] || "").length;
  const from = field.value === "" ? Number(field.dataset.start || 0) : Number(field.value) + by;
  const low = field.dataset.low === undefined ? -Infinity : Number(field.dataset.low);
  const high = field.dataset.high === undefined ? Infinity : Number(field.dataset.high);
  field.value = Math.min(high, Math.max(low, from)).toFixed(digits);
  field.dispatchEvent(new Event("input", { bubbles: true }));
}
