"""Names in lines: no longer than the tables hold."""

from __future__ import annotations

from telemetry.errors import ParseError
from telemetry.events import LONGEST_PROGRAM, LONGEST_TORCH
from telemetry.said import said


def program_name(text: str | None) -> str:
    """The name of a program. Raises ParseError."""
    name = (text or "").strip()
    if not name:
        raise ParseError("bad value", said("a program without its name"))
    if len(name) > LONGEST_PROGRAM:
        raise ParseError(
            "bad value",
            said("a name of over {most} letters", most=LONGEST_PROGRAM),
        )
    return name


def torch_name(text: str | None, own: str | None) -> str:
    """The torch a line names, else the feed's `own`. Raises ParseError."""
    torch = (text.strip() if text else "") or own
    if torch is None:
        raise ParseError("no torch", said("the line names no torch and the feed neither"))
    if len(torch) > LONGEST_TORCH:
        raise ParseError("no torch", said("a name of over {most} letters", most=LONGEST_TORCH))
    return torch
