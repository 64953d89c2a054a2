/* The page shown when a screen is loaded without network. It holds nothing of the shop: how much
   waits on this tablet it reads there, and the screen comes back as soon as the server answers. */

import { csrf } from "./outbox.js";
import { counted } from "./words.js";

const EVERY_MS = 3000;
const GIVE_UP_MS = 5000;
const [, floor, place, doing] = location.pathname.split("/");
const back = `/${[floor, place].filter(Boolean).join("/")}/`;

function waiting() {
  try {
    return JSON.parse(localStorage.getItem(`kerfbook.outbox.${place}`) || "[]").length;
  } catch {
    return 0;
  }
}

function show() {
  const count = waiting();
  const line = document.getElementById("waiting");
  line.hidden = count === 0;
  line.textContent = counted("{n} entry waits on this tablet and goes in later.", "{n} entries wait on this tablet and go in later.", count);
  document.getElementById("out").hidden = doing !== "sign-out";
}

const ask = (url, more = {}) => fetch(url, { cache: "no-store", credentials: "same-origin", signal: AbortSignal.timeout(GIVE_UP_MS), ...more });

async function look() {
  try {
    const reply = await ask(document.documentElement.dataset.away);
    if (reply.ok) {
      if (doing === "sign-out") await ask(location.pathname, { method: "POST", headers: { "X-CSRFToken": csrf() } });
      return location.replace(back);
    }
  } catch { /* still away */ }
  return setTimeout(look, EVERY_MS);
}

document.getElementById("again").addEventListener("click", () => location.replace(back));
show();
look();
