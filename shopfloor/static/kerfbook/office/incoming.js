// How far a long file is, asked once a second until it has ended.
"use strict";
(() => {
  const own = document.getElementById("incoming");
  if (!own) return;
  const words = document.getElementById("incoming-words");
  const bar = document.getElementById("incoming-bar");
  const ask = async () => {
    try {
      const answer = await fetch(own.dataset.url, { headers: { Accept: "application/json" } });
      if (!answer.ok) throw new Error(String(answer.status));
      const now = await answer.json();
      if (now.state !== "waiting" && now.state !== "reading") {
        location.reload();
        return;
      }
      if (words.textContent !== now.words) words.textContent = now.words;
      if (now.total) {
        bar.max = now.total;
        bar.value = now.done;
      } else {
        bar.removeAttribute("value");
      }
    } catch {
      words.textContent = words.dataset.lost;
    }
    setTimeout(ask, 1000);
  };
  setTimeout(ask, 1000);
})();
