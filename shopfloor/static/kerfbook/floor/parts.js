/* The parts of a nest, on a map and as keys under it: marked one by one when a run is finished,
   or one contour chosen to burn again from. Maps are fetched while there is a network and kept. */

const kept = new Map(); // by address: the markup last fetched

export async function fetchMap(url) {
  try {
    const reply = await fetch(url, { credentials: "same-origin" });
    if (reply.ok) kept.set(url, await reply.text());
  } catch {
    // off the network: what is kept, if anything, is shown instead
  }
  return kept.get(url);
}

export const keptMap = (url) => kept.get(url);

/** Which part a tap on the map or on its keys meant: the number of its first contour. */
export function tapped(target) {
  const key = target.closest("[data-contour]");
  if (key) return Number(key.dataset.contour);
  const link = target.closest("svg a");
  const found = link && /#part-(\d+)$/.exec(link.getAttribute("href"));
  return found ? Number(found[1]) : null;
}

export class Marks {
  constructor() {
    this.clear();
  }

  clear() {
    this.by = new Map();
    this.last = null;
  }

  /** A second touch with the same mark takes it off. */
  touch(contour, outcome) {
    if (this.by.get(contour)?.outcome === outcome) this.by.delete(contour);
    else this.by.set(contour, { outcome, cause: "" });
    this.last = this.by.has(contour) ? contour : null;
  }

  cause(text) {
    const one = this.by.get(this.last);
    if (one) one.cause = text;
  }

  notCut(contours) {
    for (const contour of contours) this.by.set(contour, { outcome: "not_cut", cause: "" });
    this.last = null;
  }

  exceptions() {
    return [...this.by].sort((a, b) => a[0] - b[0]).map(([contour, { outcome, cause }]) => ({ contour, outcome, ...(cause ? { cause } : {}) }));
  }

  /** Shows the marks on map and keys, with the words in `words` by outcome. */
  draw(box, words) {
    for (const key of box.querySelectorAll("[data-contour]")) {
      const mark = this.by.get(Number(key.dataset.contour));
      key.classList.toggle("scrap", mark?.outcome === "scrap" || mark?.outcome === "rework");
      key.classList.toggle("not-cut", mark?.outcome === "not_cut");
      key.setAttribute("aria-pressed", mark ? "true" : "false");
      key.querySelector("small").textContent = mark ? words[mark.outcome] + (mark.cause ? `, ${mark.cause}` : "") : key.dataset.words;
    }
    for (const link of box.querySelectorAll("svg a")) {
      const mark = this.by.get(tapped(link));
      link.dataset.from ??= link.getAttribute("class");
      const css = mark ? (mark.outcome === "not_cut" ? "not-cut" : "scrap") : link.dataset.from;
      link.setAttribute("class", css + (mark && tapped(link) === this.last ? " selected" : ""));
    }
  }
}
