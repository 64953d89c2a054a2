// Tries the description on the lines as either changes. Without it a button does the same.
"use strict";

const form = document.querySelector("form[data-try]");
const shown = document.getElementById("tried");
const WAIT_MS = 450;
let timer = 0;
let running = null;

async function attempt() {
  running?.abort();
  running = new AbortController();
  const { signal } = running;
  try {
    const answer = await fetch(form.dataset.try, { method: "POST", body: new FormData(form), signal });
    if (answer.ok && !answer.redirected) shown.innerHTML = await answer.text();
  } catch (problem) {
    if (problem.name !== "AbortError") shown.textContent = shown.dataset.failed;
  }
}

if (form && shown) {
  form.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(attempt, WAIT_MS);
  });
}
