/* Finishing part by part, and the contour to burn again from: both on the nest's map. */

import { fetchMap, keptMap, Marks, tapped } from "./parts.js";
import { _, counted } from "./words.js";

function finishWords(parts, marked) {
  if (!marked) return parts ? counted("{n} part, close this run", "{n} parts, close this run", parts) : _("close this run");
  return parts ? _("{good} good, {marked} marked", { good: parts - marked, marked }) : _("all others good, {marked} marked", { marked });
}

export class Finishing {
  constructor({ root, screens, show }) {
    Object.assign(this, { root, screens, show });
    this.marks = new Marks();
  }

  get words() {
    return Object.fromEntries([...this.root.querySelectorAll("[data-mark]")].map((one) => [one.value, one.parentElement.textContent.trim().toLowerCase()]));
  }

  /** Which run's or nest's map: what the page shows now, an offline start included. */
  address(kind) {
    const running = this.root.querySelector("#running")?.dataset;
    const seen = this.show();
    const started = seen.started && this.root.querySelector(`template[data-as-started="${seen.started}"]`);
    const base = this.root.dataset.stateUrl.replace(/state$/, "");
    if (started) return { now: `${base}map/${started.dataset.revision}?for=${kind}`, first: null };
    if (!running?.revision) return { now: null, first: null };
    return { now: `${base}runmap/${running.run}?for=${kind}`, first: `${base}map/${running.revision}?for=${kind}` };
  }

  /** Fetches what the screens would need if the network went away now. */
  prefetch() {
    const base = this.root.dataset.stateUrl.replace(/state$/, "");
    const wanted = new Set([...this.root.querySelectorAll("[data-revision]")].map((one) => one.dataset.revision).filter(Boolean));
    for (const revision of wanted) {
      for (const kind of ["finish", "restart"]) {
        const url = `${base}map/${revision}?for=${kind}`;
        if (!keptMap(url)) fetchMap(url);
      }
    }
  }

  async opened(name) {
    if (name !== "finish" && name !== "restart") return;
    this.marks.clear();
    this.cut = false; // nobody has said yet that what the signal missed is cut
    this.anew = this.show().anew;
    const { now, first } = this.address(name);
    const box = () => this.root.querySelector(`[data-map="${name}"]`);
    const put = (html) => {
      if (!html || this.screens.shown !== name || this.marks.by.size || box().closest("[data-busy]")) return;
      box().innerHTML = html; // the terminal's own server wrote it, with every label escaped
      this.draw();
    };
    put(keptMap(now) || keptMap(first));
    if (now) put(await fetchMap(now));
    this.draw();
  }

  /** A newer state is on the page: the open map follows it, unless somebody is marking on it. */
  redrawn() {
    const name = this.screens.shown;
    const box = this.root.querySelector(`[data-map="${name}"]`);
    if (box && !this.marks.by.size && !box.closest("[data-busy]")) this.opened(name);
  }

  click(target) {
    if (target.closest("[data-cause]")) {
      this.marks.cause(target.closest("[data-cause]").dataset.cause);
    } else if (target.closest("[data-they-are-cut]")) {
      this.cut = true;
    } else if (target.closest("[data-not-cut]")) {
      this.marks.notCut(this.unseen().filter((contour) => !this.marks.by.has(contour)));
    } else {
      const map = target.closest("[data-map]");
      const contour = map && tapped(target);
      if (!contour) return false;
      if (map.dataset.map === "restart") return this.restartAt(contour);
      this.marks.touch(contour, this.root.querySelector("[data-mark]:checked")?.value || "scrap");
    }
    this.screens.busy(target);
    this.draw();
    return true;
  }

  restartAt(contour) {
    const field = document.getElementById("restart-contour");
    field.value = contour;
    field.dispatchEvent(new Event("input", { bubbles: true }));
    for (const key of this.root.querySelectorAll('[data-map="restart"] [data-contour]')) key.setAttribute("aria-pressed", String(Number(key.dataset.contour) === contour));
    for (const link of this.root.querySelectorAll('[data-map="restart"] svg a')) link.classList.toggle("selected", tapped(link) === contour);
    return true;
  }

  /** Parts the signal did not see cut; none where the map is of the plate before the one that lies there. */
  unseen() {
    if (this.anew) return [];
    return [...this.root.querySelectorAll('[data-map="finish"] [data-contour][data-seen="no"]')].map((one) => Number(one.dataset.contour));
  }

  draw() {
    const screen = this.screens.section("finish");
    const box = screen.querySelector("[data-map]");
    this.marks.draw(box, this.words);
    const parts = box.querySelectorAll("[data-contour]").length;
    const marked = this.marks.by.size;
    const key = screen.querySelector("[data-finish]");
    key.querySelector("span").firstChild.textContent = marked ? _("Finish") : _("All good");
    key.querySelector("small").textContent = finishWords(parts, marked);
    const last = this.marks.by.get(this.marks.last);
    const causes = screen.querySelector("[data-causes]");
    causes.hidden = !last || last.outcome === "not_cut";
    const named = box.querySelector(`[data-contour="${this.marks.last}"] span`)?.firstChild.textContent;
    if (last) causes.querySelector("[data-cause-of]").textContent = `${this.words[last.outcome]}, ${named || this.marks.last}`;
    for (const one of causes.querySelectorAll("[data-cause]")) one.setAttribute("aria-pressed", String(one.dataset.cause === last?.cause));
    const dark = this.unseen();
    const unseen = dark.filter((contour) => !this.marks.by.has(contour));
    const said = screen.querySelector("[data-unseen]");
    said.hidden = !unseen.length;
    said.textContent = dark.length === parts ? _("The signal saw none of them cut.") : _("The signal saw {seen} of {parts} cut.", { seen: parts - dark.length, parts });
    const rest = screen.querySelector("[data-not-cut]");
    rest.hidden = !unseen.length || dark.length === parts; // nothing seen at all says nothing
    rest.textContent = _("{n} not seen cut: left uncut", { n: unseen.length });
    const cut = screen.querySelector("[data-they-are-cut]");
    cut.hidden = rest.hidden;
    cut.setAttribute("aria-pressed", String(this.cut));
    cut.textContent = _("{n} not seen cut: they are cut", { n: unseen.length });
  }

  /** In words, what the marks still lack: scrap without a cause cannot be charged to anything. */
  lack() {
    const bare = [...this.marks.by].filter(([, mark]) => mark.outcome === "scrap" && !mark.cause).map(([contour]) => contour);
    if (bare.length) {
      this.marks.last = bare[0];
      this.draw();
    }
    if (bare.length) return [counted("why it is scrap", "why they are scrap", bare.length)];
    const asks = !this.root.querySelector("[data-screen=finish] [data-they-are-cut]").hidden && !this.cut;
    return asks ? [_("whether the parts not seen cut are cut")] : [];
  }

  complete(payload) {
    payload.exceptions = this.marks.exceptions();
    const { length_mm, width_mm, place } = payload;
    for (const name of ["length_mm", "width_mm", "place"]) delete payload[name];
    if (length_mm && width_mm) payload.remnant = { length_mm, width_mm, ...(place ? { place } : {}) };
    this.marks.clear();
  }
}
