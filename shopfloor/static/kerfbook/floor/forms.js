/* Forms of the terminal: filled by touch, checked here in words, kept as one entry. */

import { oneTouch } from "./outbox.js";
import { filled, missing } from "./screens.js";
import { _ } from "./words.js";

export class Forms {
  constructor({ root, screens, enter }) {
    Object.assign(this, { root, screens, enter });
  }

  set(id, value) {
    const field = document.getElementById(id);
    field.value = value;
    field.dispatchEvent(new Event("input", { bubbles: true }));
  }

  input(field) {
    for (const echo of this.root.querySelectorAll(`[data-echo="${field.id}"]`)) echo.textContent = field.value;
    const lack = field.closest("[data-screen]")?.querySelector("[data-lack]");
    if (lack) lack.hidden = true;
  }

  /** Opens what is folded away, and the ways a cut can be measured. */
  click(target) {
    const show = target.closest("[data-show]");
    if (show) {
      const screen = show.closest("[data-screen]");
      screen.querySelector(`[data-${show.dataset.show}]`).hidden = false;
      show.hidden = true;
      return true;
    }
    const way = target.closest("[data-way]");
    if (!way) return false;
    const form = way.closest("form");
    for (const key of form.querySelectorAll("[data-way]")) key.setAttribute("aria-pressed", String(key === way));
    for (const one of form.querySelectorAll("[data-way-fields]")) one.hidden = one.dataset.wayFields !== way.dataset.way;
    return true;
  }

  lacks(form, what) {
    const line = form.closest("[data-screen]").querySelector("[data-lack]");
    line.textContent = _("Say {what}.", { what: what.join(_(", and ")) });
    line.hidden = false;
    this.screens.busy(form); // a newer state would take the line away before anybody has read it
    line.scrollIntoView({ block: "nearest" });
  }

  submit(form, { finishing, starting }) {
    const payload = filled(form);
    const lack = missing(form);
    const any = form.dataset.any?.split(" ");
    if (any && !any.some((name) => payload[name] !== undefined)) lack.push(_("what was measured"));
    if ((payload.top_mm === undefined) !== (payload.bottom_mm === undefined)) lack.push(_("both sizes"));
    const kind = form.dataset.kind;
    if (kind === "finish") lack.push(...finishing.lack());
    if (lack.length) {
      this.lacks(form, lack);
      return;
    }
    if (kind === "finish") finishing.complete(payload);
    const after = kind === "start" ? starting.complete(form, payload) : null;
    const touch = oneTouch(after ? 2 : 1);
    this.enter(kind, { ...payload, ...touch }, { started: form.dataset.started });
    if (after) this.enter(after.kind, { ...after.payload, ...touch });
    this.screens.go("main");
  }
}
