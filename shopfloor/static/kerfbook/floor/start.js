/* Starting a nest: its sheet scanned against the plan, the set in the torch, and what a scan
   means on whichever screen it arrives. */

import { _ } from "./words.js";

const plain = (code) => code.trim().toUpperCase().replace(/^[A-Z]{1,10}:/, "");

export class Starting {
  constructor({ root, screens, enter }) {
    Object.assign(this, { root, screens, enter });
  }

  get screen() {
    return this.screens.shown.startsWith("start-") ? this.screens.section(this.screens.shown) : null;
  }

  /** The reason follows the stop as a second stop: the one that stands takes it up, even where
      both are still on this device. */
  reason(data) {
    this.enter("stop", { reason: data.reason, ...JSON.parse(data.payload || "{}") }, { why: data.label });
  }

  find(code) {
    const wanted = plain(code);
    return [...this.root.querySelectorAll("[data-codes]")].find((one) => (one.dataset.scanned === undefined || one === this.screen) && JSON.parse(one.dataset.codes || "[]").some((own) => plain(own) === wanted));
  }

  scanned(code, { changing, plate }) {
    if (this.looking) { // the sheet scanned right after its nest
      this.looking.then(() => this.scanned(code, { changing, plate }));
      return undefined;
    }
    if (this.screens.shown === "sheet") return plate.scanned(plain(code));
    const known = this.find(code);
    if (known?.dataset.screen && known !== this.screen && !(this.screen && plain(this.screen.querySelector("form").dataset.expected) === plain(code))) return this.screens.go(known.dataset.screen);
    if (known?.dataset.changeTray) return changing.trayScanned(known);
    if (known?.type === "radio") {
      this.screens.go(known.closest("[data-screen]").dataset.screen);
      known.checked = true;
      return this.screens.busy(known);
    }
    if (known && known === this.screen && plain(known.querySelector("form").dataset.expected) !== plain(code)) return; // its own paper again
    if (this.screen) return this.sheet(this.screen, plain(code));
    if (this.screens.shown === "change") return changing.pieceScanned(plain(code));
    this.looking = this.look(code).finally(() => { this.looking = null; });
    return undefined;
  }

  sheet(screen, code) {
    const form = screen.querySelector("form");
    form.querySelector("[data-scan=sheet]").value = code;
    for (const one of form.querySelectorAll("[data-pick-sheet]")) one.checked = one.value === code;
    const expected = form.dataset.expected;
    const swapped = Boolean(expected) && plain(expected) !== code;
    screen.querySelector("[data-sheet-said]").textContent = _("Sheet {code}", { code });
    for (const one of screen.querySelectorAll("[data-start-sheet]")) one.textContent = _("on sheet {code}", { code });
    screen.querySelector("[data-sheet-hint]").textContent = swapped ? _("Planned was {sheet}.", { sheet: expected }) : _("As scanned.");
    const heat = screen.querySelector("[data-heat-said]");
    heat.dataset.planned ??= heat.textContent;
    heat.textContent = plain(expected) === code ? heat.dataset.planned : _("Mark the heat of sheet {code} on what stays before it is cut away.", { code });
    heat.hidden = !heat.textContent;
    this.swap(screen, swapped);
    this.screens.busy(form);
  }

  swap(screen, swapped) {
    const why = screen.querySelector("[data-swap]");
    why.hidden = !swapped;
    for (const one of why.querySelectorAll("input")) one.dataset.need = swapped ? _("why another sheet is taken") : "";
  }

  input(field) {
    if (field.matches("[data-pick-sheet]")) this.sheet(field.closest("[data-screen]"), field.value);
    if (field.name === "torch" && this.screen) this.torch(this.screen, field.value);
  }

  /** What is asked of the set, and its Start, are those of the torch that was chosen. */
  torch(screen, code) {
    for (const one of screen.querySelectorAll("[data-of-torch]")) one.hidden = one.dataset.ofTorch !== code;
  }

  click(target) {
    const keep = target.closest("[data-keep-show]");
    if (!keep) return false;
    const torch = keep.closest("[data-of-torch]")?.dataset.ofTorch;
    const within = torch === undefined ? "" : `[data-of-torch="${CSS.escape(torch)}"] `;
    const part = (name) => keep.closest("[data-screen]").querySelector(`${within}[data-keep-${name}]`);
    const why = part("set");
    why.hidden = part("start").hidden = false;
    keep.hidden = part("hide").hidden = true;
    for (const one of why.querySelectorAll("input")) one.dataset.need = _("why the set stays");
    return true;
  }

  /** A set kept against the nest's wish is noted with its reason, behind the start itself. */
  complete(form, payload) {
    const why = payload.kept_because;
    delete payload.kept_because;
    return why ? { kind: "note", payload: { text: _("Set kept: {why}", { why }) } } : null;
  }

  /** The server wants something before it takes a start: show that screen again, and the question. */
  ask(result, entry) {
    const name = `start-${entry?.shown?.started}`;
    const screen = this.screens.section(name);
    if (!screen) return;
    this.screens.go(name);
    if (entry.payload.sheet) this.sheet(screen, entry.payload.sheet);
    if (result.ask === "swap_reason") this.swap(screen, true);
  }

  async look(code) {
    try {
      const reply = await fetch(`${this.root.dataset.codeUrl}?${new URLSearchParams({ code })}`, { credentials: "same-origin" });
      const found = reply.ok ? await reply.json() : { words: _("Nobody could say what that code is.") };
      if (found.screen) return this.screens.scanned(found.screen);
      document.getElementById("said-head").textContent = found.words;
    } catch {
      document.getElementById("said-head").textContent = _("{code} is not among what this tablet knows, and there is no connection to ask.", { code });
    }
    document.getElementById("said-text").textContent = "";
    document.getElementById("said").hidden = false;
  }
}
