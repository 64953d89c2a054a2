/* Entries made while this screen stood beside another table and not sent before it was moved. They
   go in where they were made. */

import { Outbox } from "./outbox.js";

const PREFIX = "kerfbook.outbox.";

/** Sends what waits for other tables. `url` is this table's own address for entries. */
export function sendLeftovers({ table, url, answered }) {
  const others = [];
  try {
    for (let n = 0; n < localStorage.length; n += 1) {
      const key = localStorage.key(n);
      if (key.startsWith(PREFIX) && key !== PREFIX + table) others.push(key.slice(PREFIX.length));
    }
  } catch {
    return; // the browser forbids storage: nothing can have been kept
  }
  for (const other of others) {
    new Outbox({ table: other, url: url.replace(`/${table}/`, `/${other}/`), changed: () => {}, answered }).send();
  }
}
