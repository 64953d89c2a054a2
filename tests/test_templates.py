"""Templates are laid out to be read: lines of at most 160 characters. Those that are longer still
may only become fewer: lower `STILL_LONG` with each that is laid out."""

from __future__ import annotations

from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
MOST = 160
STILL_LONG = 118


def test_long_lines_of_templates_only_become_fewer():
    long = [
        f"{path.relative_to(ROOT)}:{number}: {len(line)}"
        for room in ("shopfloor", "dashboards")
        for path in sorted((ROOT / room).glob("**/templates/**/*.html"))
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if len(line) > MOST
    ]
    assert len(long) <= STILL_LONG, f"{len(long)} of them:\n" + "\n".join(long)
