"""How much memory a long backfill holds: `python -m tests.telemetry.memory LINES [small]` prints a
JSON object a sample. `small` leaves SQLite its usual cache, whose filling would hide a leak."""

from __future__ import annotations

import json
import os
import sys
import tempfile
import time
from pathlib import Path
from unittest.mock import patch

SAMPLES = 40


def write_lines(path: Path, count: int) -> None:
    """Arcs of five lines, one after the other, a program now and then; 1 in 1,000 is no line."""
    words = ["ARC ON,", "PIERCE,", "AMPS,61", "VOLTS,131.5", "ARC OFF,"]
    with path.open("w") as handle:
        for first in range(0, count, 10_000):
            rows = []
            for n in range(first, min(first + 10_000, count)):
                seconds, ms = divmod(n * 700, 1000)
                day, rest = divmod(seconds, 86_400)
                at = f"2026-{1 + day // 28:02}-{1 + day % 28:02}T{rest // 3600:02}:"
                at += f"{rest // 60 % 60:02}:{rest % 60:02}.{ms:03}"
                word = "PROGRAM,N-7" if n % 997 == 0 else words[n % 5]
                rows.append(f"{n + 1},{at},{word if n % 1000 else 'EH,'}\n")
            handle.write("".join(rows))


def resident_mb() -> float:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def say(what: dict) -> None:
    sys.stdout.write(json.dumps(what) + "\n")
    sys.stdout.flush()


def main(count: int, small: bool) -> None:
    import django

    django.setup()
    from telemetry.bench.shop import FEED
    from telemetry.database import ensure_database
    from telemetry.services import feed_register
    from telemetry.worker.backfill import backfill

    ensure_database()
    feed = feed_register(name="m", text=FEED.format(table="m", window_s=2.0))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "long.csv"
        write_lines(path, count)
        began, last = time.monotonic(), -1

        def sample(done: int, of: int) -> None:
            nonlocal last
            if (part := done * SAMPLES // of) > last:
                last = part
                lines = round(done / of * count)
                took = round(time.monotonic() - began, 1)
                say({"lines": lines, "mb": resident_mb(), "s": took})

        if small:
            with patch("telemetry.worker.backfill.large_cache"):
                found = backfill(feed, path, sample)
        else:
            found = backfill(feed, path, sample)
    say({"stored": found.events, "of": found.lines})


if __name__ == "__main__":
    main(int(sys.argv[1]), "small" in sys.argv[2:])
