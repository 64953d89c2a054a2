"""Breaks of a shift as a person types them."""

from __future__ import annotations

from datetime import time

from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _


def breaks_read(text: str) -> list[list[object]]:
    """One a line: `10:00 15 break`."""
    found: list[list[object]] = []
    for line in filter(None, (line.strip() for line in text.splitlines())):
        parts = line.split(maxsplit=2)
        try:
            at, minutes = time.fromisoformat(parts[0]), int(parts[1])
        except (ValueError, IndexError):
            raise ValidationError(
                {
                    "breaks": _(
                        "{line!r}: give start, minutes and a word, such as 10:00 15 break."
                    ).format(line=line)
                }
            ) from None
        if not 0 < minutes <= 240:
            raise ValidationError({"breaks": _("{line!r}: 1 to 240 minutes.").format(line=line)})
        found.append([f"{at:%H:%M}", minutes, parts[2] if len(parts) > 2 else "break"])
    return found
