/* The floor terminal: wires screens, outbox, state, scanner and maps together. */

import { answerWords, Connection, Notices } from "./notices.js";
import { oneTouch, Outbox } from "./outbox.js";
import { Poll } from "./poll.js";
import { Screens, step } from "./screens.js";
import { Scanner } from "./scan.js";
import { draw, said, stood } from "./view.js";
import { Changing } from "./change.js";
import { Finishing } from "./finish.js";
import { Forms } from "./forms.js";
import { sendLeftovers } from "./leftover.js";
import { Photo } from "./photo.js";
import { Plate } from "./plate.js";
import { Starting } from "./start.js";

const IDLE_CHECK_MS = 2000;
const root = document.getElementById("screens");
const zoned = new Intl.DateTimeFormat("en-GB", { timeZone: root.dataset.zone, hour: "2-digit", minute: "2-digit" });
const clock = (moment) => zoned.format(moment);
const notices = new Notices();
const connection = new Connection(clock);
const screens = new Screens(root);
let settled = []; // acknowledged, but not yet in the state on the page
let heardAt = 0; // when the state last heard was asked for, by the page's counter

const outbox = new Outbox({ table: root.dataset.table, url: root.dataset.actionsUrl, changed: show, answered });
const poll = new Poll({ root, screens, outbox, fresh, gone: () => location.reload() });

export function enter(kind, payload, shown = {}) {
  notices.passed();
  const seen = show();
  const { run, ...rest } = payload; // the page's run is not the one started here meanwhile
  const entry = outbox.add(kind, (seen.started || seen.anew) && run ? rest : payload, root.dataset.by, shown);
  root.dataset.version = ""; // whatever comes next is drawn afresh
  poll.soon();
  return entry;
}

function show() {
  const seen = draw(root, [...settled.map((one) => one.entry), ...outbox.read()], clock);
  connection.draw({ downSince: outbox.downSince, count: outbox.read().length, durable: outbox.durable, refusal: outbox.refusal });
  document.documentElement.dataset.kept = String(outbox.read().length);
  tick();
  return seen;
}

function told(result, entry) {
  const words = answerWords(result, entry, said(entry?.kind || result.kind), clock);
  const of = entry ? `${entry.kind} ${entry.payload.run || ""}` : "";
  if (of && result.state === "applied") notices.mended(of);
  if (words) notices.say(words.head, words.text, words.bad, result.state === "refused" ? of : "");
}

function answered(result, entry) {
  if (entry && result.state === "applied") settled.push({ entry, at: performance.now() });
  told(result, entry);
  if (result.state === "refused" && result.ask) starting.ask(result, entry);
  poll.soon();
}

/* A tap may hold the new state back for a moment. What it knows of stays drawn over the old one until it is on the
   page: else a key pressed meanwhile means the run before. */
function fresh(next, askedAt) {
  heardAt = askedAt;
  const known = settled.some((one) => one.at <= heardAt);
  if (known) screens.drawnOver();
  if (next) screens.offer(next);
  else if (known) screens.apply();
}

const parts = { root, screens, enter, show, poll };
const forms = new Forms(parts);
const finishing = new Finishing(parts);
const changing = new Changing(parts);
const starting = new Starting(parts);
const plate = new Plate(parts);

function undo() {
  const action = root.querySelector("#undo")?.dataset.action;
  if (action) enter("undo", { action });
}

function nextGap(key) {
  const gap = (key.closest("[data-gap]") || root.querySelector("[data-gap]:not([hidden])"));
  const next = gap?.nextElementSibling;
  if (gap) gap.hidden = true;
  if (next?.matches("[data-gap]")) next.hidden = false;
  else screens.go("main");
}

function pressed(key) {
  const data = key.dataset;
  if (key.id === "undo" || data.undo !== undefined) undo();
  if (data.act) enter(data.act, JSON.parse(data.payload || "{}"), { ...data });
  const acts = JSON.parse(data.acts || "[]");
  const touch = oneTouch(acts.length);
  for (const one of acts) enter(one.kind, { ...one.payload, ...touch });
  if (data.reason) starting.reason(data);
  if (data.step) step(key);
  if (data.set) forms.set(data.set, data.value);
  if (data.nextGap !== undefined || data.skipGap !== undefined) nextGap(key);
  if (data.go) screens.go(data.go);
  if (data.step || data.set) screens.busy(key);
}

document.addEventListener("click", (event) => {
  const target = event.target instanceof Element ? event.target : null;
  if (!target) return;
  if (finishing.click(target)) event.preventDefault();
  if (changing.click(target) || starting.click(target) || plate.click(target) || forms.click(target)) screens.busy(target);
  const key = target.closest("button,a.key-btn");
  if (key) pressed(key);
});
document.addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || event.repeat || !event.target.matches?.("#screens input:is([type=radio],[type=checkbox])")) return;
  event.preventDefault(); // would send the form; the key in focus is meant
  event.target.click();
});
document.addEventListener("input", (event) => { screens.busy(event.target); forms.input(event.target); starting.input(event.target); changing.input(event.target); plate.input(event.target); });
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.dataset.form === undefined && form.dataset.change === undefined) return;
  event.preventDefault();
  if (form.dataset.form !== undefined) forms.submit(form, { finishing, starting });
});
root.addEventListener("applied", () => {
  settled = settled.filter((one) => one.at > heardAt);
  show();
  finishing.prefetch();
  finishing.redrawn();
});
root.addEventListener("shown", (event) => {
  document.getElementById("back").hidden = event.detail === "main";
  document.getElementById("hand-over").hidden = document.getElementById("sign-out").hidden = event.detail !== "main";
  finishing.opened(event.detail);
});
const scanned = (text) => starting.scanned(text, { changing, plate });
new Scanner(scanned);
new Photo({ scanned, say: (...words) => notices.now(...words) });

function tick() {
  document.getElementById("clock").textContent = clock(new Date(poll.now()));
  for (const one of root.querySelectorAll("[data-since]")) {
    if (one.dataset.since) one.textContent = stood(poll.now() - Date.parse(one.dataset.since));
  }
}
setInterval(tick, 500);

setInterval(() => {
  const due = screens.idleMs > Number(root.dataset.idleMinutes) * 60000;
  if (due && outbox.downSince === null) document.getElementById("sign-out").requestSubmit();
}, IDLE_CHECK_MS);
window.addEventListener("online", () => outbox.send());
show();
finishing.prefetch();
outbox.send();
sendLeftovers({ table: root.dataset.table, url: root.dataset.actionsUrl, answered: told });
poll.ask();
