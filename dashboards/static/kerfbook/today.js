// Asks once a second whether anything moved and puts in place only the parts that did.
(() => {
  const day = document.getElementById("day");
  const url = day && day.dataset.live;
  if (!url) return;
  const banner = document.getElementById("no-connection");
  const since = document.getElementById("no-connection-since");
  const said = document.getElementById("said");
  const EVERY_MS = 1000, LOST_MS = 5000, SAY_MS = 60000;
  const drawn = new Map();
  let tag = "", heard = Date.now(), spoke = 0, timer = 0;

  const parts = (root) => root.querySelectorAll("[data-part]");
  const names = (root) => [...parts(root)].map((part) => part.dataset.part).join();
  // The form's token differs each time without anything having moved.
  const shape = (part) => part.outerHTML.replace(/(csrfmiddlewaretoken" value=")[^"]*/g, "$1");
  const busy = (part) => {
    // A form somebody is filling in stays as it is.
    const open = part.querySelector("details[open]");
    const typed = [...part.querySelectorAll("textarea,input:not([type=hidden])")].some((one) => one.value !== one.defaultValue);
    return Boolean(open || typed);
  };
  const place = (part) => {
    const held = document.activeElement;
    if (!part.contains(held) || held === document.body) return () => {};
    const all = [...part.querySelectorAll("a,button,input,summary,textarea")];
    const words = held.textContent, at = all.indexOf(held);
    return (next) => {
      const now = [...next.querySelectorAll("a,button,input,summary,textarea")];
      const same = now.find((one) => one.textContent === words) || now[at];
      if (same) same.focus({ preventScroll: true });
    };
  };
  const say = () => {
    const lede = day.querySelector(".lede");
    const text = lede ? lede.textContent.trim() : "";
    if (!text || text === said.dataset.last || Date.now() - spoke < SAY_MS) return;
    said.dataset.last = said.textContent = text;
    spoke = Date.now();
  };
  const put = (html) => {
    const box = document.createElement("template");
    box.innerHTML = html;
    const fresh = box.content;
    if (names(fresh) !== names(day)) {
      if ([...parts(day)].some(busy)) return false;
      day.replaceChildren(fresh);
      for (const part of parts(day)) drawn.set(part.dataset.part, shape(part));
      return true;
    }
    let whole = true;
    for (const part of parts(fresh)) {
      const name = part.dataset.part, html = shape(part);
      if (drawn.get(name) === html) continue;
      const old = day.querySelector(`[data-part="${CSS.escape(name)}"]`);
      if (busy(old)) { whole = false; continue; }
      const focus = place(old), left = old.querySelector(".scroll")?.scrollLeft || 0;
      old.replaceWith(part);
      const scroll = part.querySelector(".scroll");
      if (scroll) scroll.scrollLeft = left;
      focus(part);
      drawn.set(name, html);
    }
    return whole;
  };
  const lost = () => {
    if (Date.now() - heard < LOST_MS || !banner.hidden) return;
    const at = new Date(heard);
    const two = (n) => String(n).padStart(2, "0");
    since.textContent = since.dataset.said.replace("{at}", `${two(at.getHours())}:${two(at.getMinutes())}`);
    banner.hidden = false;
  };
  const ask = async () => {
    clearTimeout(timer);
    if (!document.hidden) {
      try {
        const headers = tag ? { "If-None-Match": tag } : {};
        const answer = await fetch(url, { headers, cache: "no-store", redirect: "manual", signal: AbortSignal.timeout(8000) });
        if (answer.type === "opaqueredirect") { location.reload(); return; }
        if (answer.status === 200) {
          const next = answer.headers.get("ETag") || "";
          tag = put(await answer.text()) ? next : "";
          say();
        }
        if (answer.status === 200 || answer.status === 304) {
          heard = Date.now();
          banner.hidden = true;
        } else lost();
      } catch { lost(); }
    }
    timer = setTimeout(ask, EVERY_MS);
  };
  said.dataset.last = (day.querySelector(".lede")?.textContent || "").trim();
  for (const part of parts(day)) drawn.set(part.dataset.part, shape(part));
  document.addEventListener("visibilitychange", () => { if (!document.hidden) ask(); });
  timer = setTimeout(ask, EVERY_MS);
})();
