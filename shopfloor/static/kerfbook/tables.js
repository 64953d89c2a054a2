/* Every table of a page: its columns sort by the values beside the words, and it can be saved as a
   file. The page itself answers for the file; nothing here knows one table from another. */
"use strict";
(() => {
  const KEPT_LAST = ".total, .rest";
  const said = document.currentScript?.dataset ?? {};
  const seen = new WeakSet();
  const chosen = new Map();  /* by a table's name: its column and way, for when it is drawn anew */

  const key = (cell) => {
    const own = cell?.dataset.sort ?? cell?.querySelector("data")?.value;
    if (own !== undefined && own !== "") return Number(own);
    const moment = cell?.querySelector("time[datetime]")?.getAttribute("datetime");
    if (moment) return moment;
    const words = (cell?.textContent ?? "").trim();
    if (words === "" || words === "–" || cell.querySelector(".unknown")) return null;
    return cell.classList.contains("num") && /^[+−-]?\d+$/.test(words)
      ? Number(words.replace("−", "-")) : words;
  };

  const compare = (a, b) => {
    if (a === null || b === null) return (a === null) - (b === null);
    if (typeof a === "number" && typeof b === "number") return a - b;
    return String(a).localeCompare(String(b), undefined, { numeric: true });
  };

  const cellAt = (row, place) => {
    let at = 0;
    for (const cell of row.cells) {
      if (at + cell.colSpan > place) return cell;
      at += cell.colSpan;
    }
    return undefined;
  };

  /* Of a list in pages the server has the rest: it sorts them all. */
  const sortAll = (head) => {
    const asked = new URL(location.href);
    const down = head.getAttribute("aria-sort") === "ascending";
    asked.searchParams.set("sort", `${down ? "-" : ""}${head.dataset.order}`);
    asked.searchParams.delete("page");
    location.assign(asked);
  };

  const sort = (table, head, place, down) => {
    chosen.set(name(table), { place, down });
    for (const other of head.parentElement.cells) other.removeAttribute("aria-sort");
    head.setAttribute("aria-sort", down ? "descending" : "ascending");
    const body = table.tBodies[0];
    const rows = [...body.rows].filter((row) => !row.matches(KEPT_LAST));
    const last = [...body.rows].filter((row) => row.matches(KEPT_LAST));
    const keyed = rows.map((row, index) => [key(cellAt(row, place)), index, row]);
    keyed.sort(([a, i], [b, j]) => {
      const empty = (a === null) - (b === null);  /* unknown stands last, either way */
      return empty || (down ? compare(b, a) : compare(a, b)) || i - j;
    });
    body.append(...keyed.map(([, , row]) => row), ...last);
  };

  const name = (table) =>
    table.closest("[role=region][aria-label]")?.getAttribute("aria-label") ?? "Table";

  /* A list in pages is the table before the links to them. */
  const inPages = (table) => {
    const links = document.querySelector("main nav.pages");
    const before = [...document.querySelectorAll("main table")].filter((one) =>
      links && one.compareDocumentPosition(links) & Node.DOCUMENT_POSITION_FOLLOWING);
    return before.at(-1) === table;
  };

  const sortable = (table) => {
    const rows = table.tHead?.rows;
    if (!rows || rows.length !== 1 || table.tBodies.length !== 1) return;
    if (table.tBodies[0].rows.length < 3) return;
    if (table.querySelector("tbody [rowspan], tbody form input:not([type=hidden])")) return;
    const paged = inPages(table);
    const now = new URL(location.href).searchParams.get("sort") ?? "";
    let place = 0;
    for (const head of rows[0].cells) {
      const at = place;
      place += head.colSpan;
      if (paged && !head.dataset.order) continue;  /* the page alone would be sorted */
      if (head.dataset.order && now.replace(/^-/, "") === head.dataset.order)
        head.setAttribute("aria-sort", now.startsWith("-") ? "descending" : "ascending");
      if (head.colSpan > 1 || !head.textContent.trim() || head.querySelector("a, button")) continue;
      const button = document.createElement("button");
      button.type = "button";
      button.className = "sorts";
      button.append(...head.childNodes);
      button.addEventListener("click", () => {
        if (paged && head.dataset.order) sortAll(head);
        else sort(table, head, at, head.getAttribute("aria-sort") === "ascending");
      });
      head.append(button);
      const before = chosen.get(name(table));
      if (before?.place === at) sort(table, head, at, before.down);
    }
  };

  const saveable = (table, tables) => {
    if (!table.tHead || !table.tBodies[0]?.rows.length) return;
    if (table.hasAttribute("data-passing")) return;  /* no address shows it again */
    const own = name(table);
    const alike = tables.filter((other) => name(other) === own);
    const place = alike.indexOf(table);
    const asked = new URL(location.href);
    asked.hash = "";
    asked.searchParams.set("table", place ? `${own} #${place + 1}` : own);
    const line = document.createElement("p");
    line.className = "saves screen-only";
    line.append(`${said.save ?? "Save as"} `);
    for (const kind of ["csv", "xlsx"]) {
      asked.searchParams.set("as", kind);
      const link = document.createElement("a");
      link.href = asked;
      link.download = "";
      link.textContent = kind.toUpperCase();
      const words = (said.each ?? "Save {name} as {kind}").replace("{kind}", kind.toUpperCase());
      link.setAttribute("aria-label", words.replace("{name}", () => own));
      line.append(link, kind === "csv" ? ", " : "");
    }
    (table.closest("[role=region]") ?? table).after(line);
  };

  const look = () => {
    const tables = [...document.querySelectorAll("main table")];
    for (const table of tables) {
      if (seen.has(table)) continue;
      seen.add(table);
      sortable(table);
      saveable(table, tables);
    }
  };

  look();
  const page = document.querySelector("main");  /* Dash and Today draw tables anew */
  if (page) new MutationObserver(look).observe(page, { childList: true, subtree: true });
})();
