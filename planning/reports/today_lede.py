"""One sentence over Today's page."""

from __future__ import annotations

from collections.abc import Sequence

from django.utils.translation import gettext as _

from planning.calc.said import said, said_of_many
from planning.reports.shapes import Note, TableToday


def lede(tables: Sequence[TableToday], notes: Sequence[Note]) -> str:
    """One sentence: what is wrong, then what is well."""
    pressing = [note for note in notes if note.kind == "now"]
    burning = [
        each.name
        for each in tables
        if each.strip.arcs and any(arc.state == "open" for arc in each.strip.arcs)
    ]
    running = [each.name for each in tables if each.current is not None]
    if burning:
        well = (
            _("{burning} are burning") if len(burning) > 1 else _("{burning} is burning")
        ).format(burning=" and ".join(burning))
    elif running:
        well = (
            _("{running} have a run open") if len(running) > 1 else _("{running} has a run open")
        ).format(running=" and ".join(running))
    else:
        well = _("no table has a run open")
    if not pressing:
        return _("Nothing needs attention now; {well}.").format(well=well)
    more = len(pressing) - 1
    first = pressing[0].body
    if not more:
        return said("{first:open}; {well}.", first=first, well=well)
    return said_of_many(
        "{first:open}, and {number} more needs attention; {well}.",
        "{first:open}, and {number} more need attention; {well}.",
        more,
        first=first,
        well=well,
    )
