/* What the page shows while entries are still on their way: the server's last state with the
   waiting entries on top of it. */

import { madeAt } from "./outbox.js";
import { _ } from "./words.js";

const SAID = {
  start: _("started"), stop: _("stopped"), resume: _("cutting again"), restart_at: _("restarted"), finish: _("finished"),
  change_tray: _("changed the set"), change_piece: _("changed a part"), check: _("checked"), bench: _("bench work"),
  give_reason: _("gave a reason"), inspect: _("measured a pit"), note: _("noted"), handover: _("handed over"), air: _("read the air"),
  swap_sheet: _("swapped the sheet"),
};
const AFTER = { start: "run", stop: "stopped", resume: "run", restart_at: "run", finish: "idle" };

export const said = (kind) => SAID[kind] || kind;

/** Entries that still count: without undo and without what an undo took back. */
export function standing(entries) {
  const undone = new Set(entries.filter((e) => e.kind === "undo").map((e) => e.payload.action));
  const touches = new Set(entries.filter((e) => undone.has(e.id) && e.payload.touch).map((e) => e.payload.touch));
  return entries.filter((e) => e.kind !== "undo" && !undone.has(e.id) && !touches.has(e.payload.touch));
}

export function overlay(root, entries) {
  const seen = { state: root.dataset.state, since: null, started: null, plate: null, anew: false, why: null, sets: new Map(), last: null, gone: [] };
  for (const entry of standing(entries)) {
    if (entry.kind === "stop" && seen.state !== "stopped") seen.since = madeAt(entry).toISOString();
    if (entry.kind === "stop") seen.why = entry.shown?.why || "";
    if (entry.kind === "change_tray") seen.sets.set(entry.payload.torch, entry.shown?.setWords || "");
    seen.state = AFTER[entry.kind] || seen.state;
    if (entry.kind === "swap_sheet") {
      seen.plate = entry.payload.sheet;
      seen.anew ||= entry.payload.since === "now"; // a run of its own, which this page cannot name yet
      if (seen.anew) seen.state = "run";
    }
    if (entry.kind === "start") {
      seen.started = entry.shown?.started ?? null;
      seen.gone.push(seen.started);
    }
    seen.last = entry;
  }
  return seen;
}

const fill = (root, name, text) => {
  for (const one of root.querySelectorAll(`[data-${name}]`)) one.textContent = text;
};

export function draw(root, entries, clock) {
  const seen = overlay(root, entries);
  for (const view of root.querySelectorAll("[data-view]")) view.hidden = !view.dataset.view.split(" ").includes(seen.state);
  for (const one of root.querySelectorAll("[data-aside]")) one.hidden = seen.state === "idle";
  if (seen.since) {
    fill(root, "stopped-at", ` ${_("at {time}", { time: clock(new Date(seen.since)) })}`);
    for (const one of root.querySelectorAll("[data-since]")) one.dataset.since = seen.since;
  }
  if (seen.why !== null) {
    fill(root, "stop-why", seen.why || _("No reason yet"));
    for (const one of root.querySelectorAll("[data-want-reason]")) one.hidden = Boolean(seen.why);
  }
  for (const [torch, words] of seen.sets) if (words) drawSet(root, torch, words);
  for (const pk of seen.gone) {
    for (const one of root.querySelectorAll(`[data-go="start-${pk}"]`)) (one.closest("li") || one).hidden = true;
  }
  const item = seen.started && root.querySelector(`template[data-as-started="${seen.started}"]`);
  if (item) {
    fill(root, "run-title", item.dataset.title);
    fill(root, "run-what", item.dataset.what);
    fill(root, "run-count", _("started here; the counts come with the connection"));
    fill(root, "run-least", "");
    for (const one of root.querySelectorAll("[data-run-strip]")) one.replaceChildren();
  }
  if (seen.plate) fill(root, "run-what", _("On sheet {sheet}, as entered here.", { sheet: seen.plate }));
  if (seen.anew) fill(root, "run-count", _("begun anew; the counts come with the connection"));
  drawUndo(root, entries, seen, clock);
  return seen;
}

/** A tray that went in here, before the server knows: which starts it is right for. */
function drawSet(root, torch, words) {
  const own = `="${CSS.escape(torch)}"]`;
  for (const one of root.querySelectorAll(`[data-torch-set${own}`)) one.textContent = words;
  for (const screen of root.querySelectorAll("[data-wants]")) {
    const right = screen.dataset.wants === words;
    const several = screen.querySelector("[data-of-torch]") !== null;
    for (const part of several ? screen.querySelectorAll(`[data-of-torch${own}`) : [screen]) {
      for (const one of part.querySelectorAll("[data-keep-hide],[data-keep-show],.wrongline:not([data-lack])")) one.hidden = right;
      for (const one of part.querySelectorAll("[data-keep-start]")) one.hidden = !right;
      for (const one of part.querySelectorAll(".set")) one.textContent = words;
    }
  }
}

function drawUndo(root, entries, seen, clock) {
  const key = root.querySelector("#undo");
  if (!key) return;
  const taken = new Set(entries.filter((e) => e.kind === "undo").map((e) => e.payload.action));
  const words = key.querySelector("[data-undo-words]");
  key.dataset.server ??= JSON.stringify([key.dataset.action, words.textContent]);
  key.dataset.serverKind ??= key.dataset.kind;
  const [action, text] = JSON.parse(key.dataset.server);
  if (seen.last) {
    key.dataset.action = seen.last.id;
    key.dataset.kind = seen.last.kind;
    words.textContent = `${said(seen.last.kind)} ${clock(madeAt(seen.last))}`;
  } else {
    key.dataset.action = taken.has(action) ? "" : action;
    key.dataset.kind = key.dataset.serverKind;
    words.textContent = text;
  }
  key.hidden = !key.dataset.action;
  // "It did not stop" takes the stop back, and never whatever was entered after it.
  for (const one of root.querySelectorAll("[data-undo]")) one.hidden = key.hidden || key.dataset.kind !== "stop";
}

/** 0:42, 12:05, 3:20:09. */
export function stood(ms) {
  const s = Math.max(0, Math.floor(ms / 1000));
  const two = (n) => String(n).padStart(2, "0");
  return s < 3600 ? `${Math.floor(s / 60)}:${two(s % 60)}` : `${Math.floor(s / 3600)}:${two(Math.floor(s / 60) % 60)}:${two(s % 60)}`;
}
