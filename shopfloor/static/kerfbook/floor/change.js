/* Changing a tray or single pieces. Several pieces touched together go out and in together. */

import { newId, oneTouch } from "./outbox.js";
import { filled } from "./screens.js";
import { _, counted } from "./words.js";

export class Changing {
  constructor({ root, screens, enter }) {
    Object.assign(this, { root, screens, enter });
    this.scannedLabel = "";
  }

  get screen() {
    return this.screens.section("change");
  }

  get chosen() {
    return [...this.screen.querySelectorAll("[data-old]:checked")];
  }

  /** Scanned on this screen a tray goes in; where it can go into several torches, each is shown to be touched. */
  trayScanned(key) {
    const same = () => [...this.screen.querySelectorAll(`[data-change-tray="${CSS.escape(key.dataset.changeTray)}"]`)];
    if (this.screens.shown === "change" && same().length === 1) {
      key.click();
      return;
    }
    this.screens.go("change");
    for (const one of same()) one.setAttribute("aria-pressed", "true");
    same()[0].scrollIntoView({ block: "nearest" });
    this.screens.busy(same()[0]);
  }

  pieceScanned(label) {
    this.scannedLabel = label;
    this.draw();
    this.screens.busy(this.screen.firstElementChild);
  }

  input(field) {
    if (field.matches("[data-old]")) {
      this.scannedLabel = this.chosen.length === 1 ? this.scannedLabel : "";
      this.draw();
    }
    if (field.name === "cause") this.pointTo(field);
    if (field.closest("[data-out]")) this.draw();
  }

  ticked(form) {
    return [...form.querySelectorAll("[data-old]:checked")];
  }

  /** A cause shows on one kind of part: that one is taken to have failed until somebody says another. */
  pointTo(cause) {
    const form = cause.closest("form");
    const shown = this.ticked(form).find((one) => one.dataset.kind === cause.dataset.showsOn);
    if (shown) form.querySelector(`[name=failed_one][value="${CSS.escape(shown.dataset.old)}"]`).checked = true;
  }

  /** The part of a torch that failed, where several come out; the first of the stack where nobody said. */
  failedOne(form) {
    const ticked = this.ticked(form).map((one) => one.dataset.old);
    const said = form.querySelector("[name=failed_one]:checked")?.value;
    return ticked.includes(said) ? said : ticked[0];
  }

  /** Which one failed is asked where more than one comes out as failed. */
  drawFailedOne(form) {
    const ticked = this.ticked(form).map((one) => one.dataset.old);
    const failed = form.querySelector("[name=state]:checked")?.value === "failed";
    form.querySelector("[data-failed-one]").hidden = !failed || ticked.length < 2;
    for (const one of form.querySelectorAll("[name=failed_one]")) one.closest("label").hidden = !ticked.includes(one.value);
  }

  draw() {
    const { chosen, scannedLabel: label } = this;
    for (const one of this.screen.querySelectorAll("[data-trays]")) one.hidden = chosen.length > 0;
    for (const form of this.screen.querySelectorAll("[data-change]")) this.drawFailedOne(form);
    this.screen.querySelector("[data-one]").hidden = !chosen.length;
    for (const pit of this.screen.querySelectorAll("[data-pit]")) pit.hidden = !pit.closest("form").querySelector('[data-kind="electrode"]:checked');
    const names = chosen.map((one) => one.dataset.kindWords).join(_(" and "));
    this.screen.querySelector("[data-new-said]").textContent = !chosen.length
      ? label ? _("{label} is scanned. Touch the part it replaces.", { label }) : _("Scan its label or its tray, or take the next from the drawer.")
      : label ? _("{names}: new one: {label}.", { names, label }) : _("{names}: new from the drawer.", { names });
    const become = [...this.screen.querySelectorAll("[data-out]:not([hidden]) input:checked:not([name=failed_one])")].map((one) => one.parentElement.textContent.trim().toLowerCase());
    this.screen.querySelector("[data-changed-words]").textContent = become.length
      ? counted("old one: {states}", "old ones: {states}", chosen.length, { states: become.join(", ") })
      : counted("old one out as worn", "old ones out as worn", chosen.length);
  }

  click(target) {
    if (target.closest("[data-changed-other]")) {
      for (const out of this.screen.querySelectorAll("[data-out]")) out.hidden = !out.closest("form").querySelector("[data-old]:checked");
      return true;
    }
    const key = target.closest("[data-changed]");
    if (key) this.changed(key.dataset.changed);
    return false;
  }

  changed(usual) {
    const pits = [...this.screen.querySelectorAll("[data-pit] input")].filter((one) => one.value !== "").length;
    const touch = oneTouch(this.chosen.length + pits);
    const crash = newId();
    for (const form of this.screen.querySelectorAll("[data-change]")) this.changedIn(form, usual, crash, touch);
    this.scannedLabel = "";
    this.screens.go("main");
  }

  /** A failure is one torch's; a crash may take parts of two. */
  changedIn(form, usual, crash, touch) {
    const said = filled(form);
    const state = said.state || usual;
    const ticked = this.ticked(form);
    const failure = state === "failed" && ticked.length > 1 ? newId() : "";
    const incident = state === "crashed" && this.chosen.length > 1 ? crash : failure;
    for (const one of ticked) {
      if (said.pit_mm !== undefined && one.dataset.kind === "electrode") this.enter("inspect", { piece: one.dataset.old, pit_mm: said.pit_mm, ...touch });
      const fresh = this.scannedLabel ? { new: this.scannedLabel } : one.dataset.part ? { new_part: Number(one.dataset.part) } : {};
      const collateral = failure && one.dataset.old !== this.failedOne(form) ? { collateral: true } : {};
      const cause = said.cause ? { cause: said.cause } : {};
      this.enter("change_piece", { old: one.dataset.old, ...fresh, torch: form.dataset.torch, state, ...cause, ...collateral, ...(incident ? { incident } : {}), ...touch });
    }
  }
}
