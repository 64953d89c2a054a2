/* A code photographed instead of scanned. The server reads it; from there it goes the way of a
   scan. */

import { csrf } from "./outbox.js";
import { _ } from "./words.js";

const GIVE_UP_MS = 30000;

export class Photo {
  constructor({ scanned, say }) {
    this.field = document.getElementById("photo");
    this.scanned = scanned;
    this.say = say;
    this.field?.addEventListener("change", () => this.taken());
  }

  async taken() {
    const [photo] = this.field.files;
    if (!photo) return;
    this.say(_("Reading the photo."), "", false);
    const body = new FormData();
    body.append("photo", photo);
    this.field.value = "";
    try {
      const reply = await fetch(this.field.dataset.url, {
        method: "POST", credentials: "same-origin", headers: { "X-CSRFToken": csrf() }, body,
        signal: AbortSignal.timeout(GIVE_UP_MS),
      });
      const { codes, words } = await reply.json();
      if (!codes.length) return this.say(_("Nothing was read."), words, true);
      this.say(_("On the photo: {code}.", { code: codes[0] }), codes.length > 1 ? _("There are {n} codes on it; the largest was taken.", { n: codes.length }) : "", false);
      this.scanned(codes[0]);
    } catch {
      this.say(_("Nothing was read."), _("A photo needs the connection. Type or scan the code, or touch it on the screen."), true);
    }
  }
}
