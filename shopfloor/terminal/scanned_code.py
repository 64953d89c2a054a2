"""What a scanned code is, where it is not among the things on the screen."""

from __future__ import annotations

import re

from django.utils.translation import gettext as _

from shopfloor.models import Job, Nest, Piece, Sheet, SheetState, Table, Tray
from shopfloor.wording.names import first_named

PREFIX = re.compile(r"^[A-Za-z]{1,10}:")


def plain(code: str) -> str:
    return PREFIX.sub("", code.strip())


def code_words(code: str, table: Table) -> str:
    """One sentence: what it is, and what to do with it here."""
    wanted = plain(code)
    if not wanted:
        return _("Nothing was scanned.")
    if sheet := first_named(Sheet.objects.all(), "code", wanted):
        state = SheetState(sheet.state).label
        return _(
            "Sheet {sheet} is {state}. Touch what you start (or Sheet, where it lies "
            "under the run that cuts), then scan it again."
        ).format(sheet=sheet.code, state=state)
    if nest := first_named(Nest.objects.all(), "name", wanted):
        return _("Nest {nest} was withdrawn. Ask the planner which one replaces it.").format(
            nest=nest.name
        )
    if Job.objects.filter(number__iexact=wanted).exists():
        return _("Job {wanted} has nothing next on {table}. Ask the planner.").format(
            wanted=wanted, table=table.name
        )
    if tray := first_named(Tray.objects.all(), "label", wanted):
        return _("Tray {tray} holds no set that is ready. Look which pieces lie in it.").format(
            tray=tray.label
        )
    if piece := first_named(Piece.objects.all(), "label", wanted):
        return _("{piece} is one piece. Touch Change, then scan it again.").format(
            piece=piece.label
        )
    return _("{wanted} is nothing the shop knows.").format(wanted=wanted)
