"""What a scanned code is, where it is not among the things on the screen."""

from __future__ import annotations

import re

from shopfloor.models import Job, Nest, Piece, Sheet, SheetState, Table, Tray
from shopfloor.wording.names import first_named

PREFIX = re.compile(r"^[A-Za-z]{1,10}:")


def plain(code: str) -> str:
    return PREFIX.sub("", code.strip())


def code_words(code: str, table: Table) -> str:
    """One sentence: what it is, and what to do with it here."""
    wanted = plain(code)
    if not wanted:
        return "Nothing was scanned."
    if sheet := first_named(Sheet.objects.all(), "code", wanted):
        state = SheetState(sheet.state).label
        return (
            f"Sheet {sheet.code} is {state}. Touch what you start (or Sheet, where it lies under "
            "the run that cuts), then scan it again."
        )
    if nest := first_named(Nest.objects.all(), "name", wanted):
        return f"Nest {nest.name} was withdrawn. Ask the planner which one replaces it."
    if Job.objects.filter(number__iexact=wanted).exists():
        return f"Job {wanted} has nothing next on {table.name}. Ask the planner."
    if tray := first_named(Tray.objects.all(), "label", wanted):
        return f"Tray {tray.label} holds no set that is ready. Look which pieces lie in it."
    if piece := first_named(Piece.objects.all(), "label", wanted):
        return f"{piece.label} is one piece. Touch Change, then scan it again."
    return f"{wanted} is nothing the shop knows."
