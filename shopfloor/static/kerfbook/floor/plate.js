/* Another sheet under a run that has begun: which one, why, and since when. */

import { _ } from "./words.js";

export class Plate {
  constructor({ screens }) {
    Object.assign(this, { screens });
  }

  get screen() {
    return this.screens.section("sheet");
  }

  scanned(code) {
    this.screen.querySelector("[data-plate]").value = code;
    this.screen.querySelector("[data-plate-said]").textContent = _("Sheet {code}", { code });
    for (const key of this.screen.querySelectorAll("[data-plate-key]")) key.setAttribute("aria-pressed", String(key.dataset.plateKey === code));
    const lack = this.screen.querySelector("[data-lack]");
    lack.hidden = true;
    this.screens.busy(lack);
  }

  click(target) {
    const key = target.closest("[data-plate-key]");
    if (key) this.scanned(key.dataset.plateKey);
    return Boolean(key);
  }

  input(field) {
    if (field.name !== "since") return;
    for (const one of this.screen.querySelectorAll("[data-since-now]")) one.hidden = field.value !== "now";
  }
}
