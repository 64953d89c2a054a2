"""What a scanned code is, where it is not among the things on the screen."""

from __future__ import annotations

import re

from shopfloor.models import Job, Nest, Piece, Sheet, SheetState, Table, Tray

PREFIX = re.compile(r"^[A-Za-z]{1,10}:")


def plain(code: str) -> str:
    return PREFIX.sub("", code.strip())


def code_words(code: str, table: Table) -> str:
    """One sentence: what it is, and what to do with it here."""
    wanted = plain(code)
    if not wanted:
        return "Nothing was scanned."
    if sheet := Sheet.objects.filter(code__iexact=wanted).first():
        state = SheetState(sheet.state).label
        return (
            f"Sheet {sheet.code} is {state}. Touch what you start (or Sheet, where it lies under "
            "the run that cuts), then scan it again."
        )
    if nest := Nest.objects.filter(name__iexact=wanted).first():
        return f"Nest {nest.name} was withdrawn. Ask the planner which one replaces it."
    if Job.objects.filter(number__iexact=wanted).exists():
        return f"Job {wanted} has nothing next on {table.name}. Ask the planner."
    if tray := Tray.objects.filter(label__iexact=wanted).first():
        return f"Tray {tray.label} holds no set that is ready. Look which pieces lie in it."
    if piece := Piece.objects.filter(label__iexact=wanted).first():
        return f"{piece.label} is one piece. Touch Change, then scan it again."
    return f"{wanted} is nothing the shop knows."
