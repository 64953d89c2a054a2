/* Badge and PIN: the scanner types the badge, the pad types the PIN. Entries kept from before
   are still sent from here. */

import { sendLeftovers } from "./leftover.js";
import { Connection } from "./notices.js";
import { Outbox } from "./outbox.js";
import { Scanner } from "./scan.js";
import { _ } from "./words.js";

const form = document.getElementById("signin");
const badge = document.getElementById("badge");
const pin = document.getElementById("pin");
const dots = document.getElementById("dots");
const asked = document.getElementById("asked");
const zoned = new Intl.DateTimeFormat("en-GB", { timeZone: form.dataset.zone, hour: "2-digit", minute: "2-digit" });
const clock = (moment) => zoned.format(moment); // the shop's clock, whatever the tablet is set to
const connection = new Connection(clock);

function show() {
  dots.replaceChildren(Object.assign(document.createElement("span"), { textContent: _("PIN") }));
  for (let n = 0; n < Math.max(4, pin.value.length); n += 1) {
    dots.append(Object.assign(document.createElement("i"), { className: n < pin.value.length ? "in" : "" }));
  }
}

form.addEventListener("click", (event) => {
  const key = event.target.closest("[data-digit]");
  if (!key) return;
  pin.value = key.dataset.digit === "clear" ? "" : (pin.value + key.dataset.digit).slice(0, 8);
  show();
});
form.addEventListener("change", (event) => {
  if (event.target.name !== "person") return;
  badge.value = "";
  asked.textContent = _("Now the PIN.");
  const measured = document.getElementById("measured"); // what is signed for, as the signer reads lengths
  if (measured) measured.textContent = measured.dataset[event.target.dataset.units] || measured.dataset.mm;
});
/** A badge, scanned or typed: from here on figures are the PIN. */
function badgeRead(code) {
  badge.value = code;
  for (const one of form.querySelectorAll("[name=person]")) one.checked = false;
  pin.value = "";
  asked.textContent = _("Badge read. Now the PIN.");
  badge.blur();
  show();
}

badge.addEventListener("keydown", (event) => {
  event.stopPropagation(); // what is typed here is never the PIN
  if (event.key !== "Enter") return;
  event.preventDefault();
  if (badge.value.trim()) badgeRead(badge.value.trim());
});
badge.addEventListener("input", () => {
  for (const one of form.querySelectorAll("[name=person]")) one.checked = false;
});
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey) return undefined;
  // A letter is no PIN: a badge is being typed, and all of it belongs into its field.
  if (/^\p{L}$/u.test(event.key) && scanner.text.length <= 1) {
    badge.value = "";
    return badge.focus();
  }
  if (event.target.closest?.("button,a") && event.key === "Enter") return undefined;
  if (/^\d$/.test(event.key)) pin.value = (pin.value + event.key).slice(0, 8);
  else if (event.key === "Backspace") pin.value = pin.value.slice(0, -1);
  else if (event.key === "Enter" && pin.value) form.requestSubmit();
  else return undefined;
  if (event.target === pin) event.preventDefault();
  return show();
});
const scanner = new Scanner(badgeRead);
pin.addEventListener("input", show);
form.addEventListener("submit", (event) => {
  if (pin.value && (badge.value || form.querySelector("[name=person]:checked"))) return;
  event.preventDefault();
  asked.textContent = pin.value ? _("Scan your badge, or touch your name first.") : _("Touch the figures of your PIN first.");
});

const outbox = new Outbox({ table: form.dataset.table, url: form.dataset.actions, changed: kept, answered: () => {} });
function kept() {
  connection.draw({ downSince: outbox.downSince, count: outbox.read().length, durable: outbox.durable, refusal: outbox.refusal });
}
outbox.aheadMs = Date.now() - Number(form.dataset.nowMs); // the tablet's clock may be set to anything
const tick = () => { document.getElementById("clock").textContent = clock(new Date(Date.now() - outbox.aheadMs)); };
setInterval(tick, 1000);
tick();
show();
kept();
outbox.send();
sendLeftovers({ table: form.dataset.table, url: form.dataset.actions, answered: () => {} });
