/* A scanner types: figures and letters in a quick row, then Enter. What a person types into a
   field is left alone. */

const BETWEEN_MS = 80; // slower than any scanner, faster than any typist for a whole code
const LEAST = 3;

export class Scanner {
  constructor(scanned) {
    this.text = "";
    this.last = 0;
    this.scanned = scanned;
    document.addEventListener("keydown", (event) => this.key(event), true);
  }

  key(event) {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    if (event.target instanceof Element && event.target.closest("input:not([type=radio],[type=checkbox]),textarea,select")) return;
    const now = event.timeStamp; // when it was typed: a busy tablet may look at it later
    if (event.key === "Enter") {
      if (this.text.length >= LEAST && now - this.last <= BETWEEN_MS * 2) {
        event.preventDefault();
        event.stopPropagation();
        const text = this.text;
        this.text = "";
        this.scanned(text.trim());
      }
      this.text = "";
      return;
    }
    if (event.key.length !== 1) return;
    this.text = now - this.last > BETWEEN_MS ? event.key : this.text + event.key;
    this.last = now;
    if (event.key === " " && this.text.length > 1) event.preventDefault(); // within a scan: would press the key in focus
  }
}
