"""Notes as one reader reads them: open rows, the rows of a day, and what a past shift left open."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from typing import Final

from django.db.models import Q
from django.utils.translation import gettext as _

from planning.calc.dates import day_time
from planning.reports.notes.found import Found
from planning.reports.notes.saying import Row
from planning.reports.notes.words import KINDS, ORDER
from planning.reports.shapes import Act, Note
from shopfloor.models import NoteSweep, ShopNote, Table
from shopfloor.runs.arcs import to_us

FRESH: Final = timedelta(minutes=3)  # older ones are not shown as if they held now
LONGEST: Final = timedelta(
    days=31
)  # of what began longer before a day, only what ended on it or is open is found
MOST: Final = 500


@dataclass(frozen=True, slots=True)
class Past:
    """A note of a day, with what became of it."""

    note: Note
    table: str
    began_at: datetime
    ended_at: datetime | None
    seen: tuple[str, ...]


def open_notes(now: datetime, zone: tzinfo) -> list[Note]:
    """In two statements. Where the sweep has not looked lately that is said, and nothing else."""
    looked = NoteSweep.objects.values_list("looked_at", flat=True).first()
    if looked is None or not -FRESH <= now - looked <= FRESH:
        return [_stale(looked, zone)]
    rows = ShopNote.objects.filter(ended_at=None, code__in=KINDS).select_related("table")
    return said_of(list(rows.order_by("-pk")[:MOST]), now, zone)


def _stale(looked: datetime | None, zone: tzinfo) -> Note:
    act = Act(_("Notes of the day"), "notes")
    if looked is None:
        body = _(
            "What wants a hand has not been looked for yet: the background work has not begun."
        )
    else:
        body = _(
            "What wants a hand was last looked for {when}; the background work is behind or does "
            "not run. What stood then is not shown."
        ).format(when=day_time(looked.astimezone(zone)))
    return Note("now", _("Notes are not up to date"), body, (act,))


def said_of(rows: Sequence[ShopNote], now: datetime, zone: tzinfo) -> list[Note]:
    """The most pressing first; of many of one kind the first few, and how many more."""
    at = to_us(now)
    shown: Counter[tuple[str, int | None]] = Counter()
    notes: list[tuple[bool, int, Note]] = []
    left: dict[tuple[str, int | None], ShopNote] = {}
    for row in sorted(rows, key=_order):
        kind, key = KINDS[row.code], (row.code, row.table_id)
        shown[key] += 1
        if kind.most is not None and shown[key] > kind.most:
            left[key] = row
        else:
            notes.append((kind.pressing, ORDER[row.code], note_of(row, at, zone)))
    for key, row in left.items():
        kind = KINDS[row.code]
        if kind.more is not None and kind.most is not None:
            said = kind.more(shown[key] - kind.most, _row(row, at, zone))
            notes.append((False, ORDER[row.code], _note("soon", said, row)))
    return [note for _pressing, _order, note in sorted(notes, key=lambda one: (not one[0], one[1]))]


def _order(row: ShopNote) -> tuple[int, int, int, datetime, int]:
    table = row.table.order if row.table else -1
    return ORDER[row.code], table, row.values.get("place", 0), row.began_at, row.pk or 0


def note_of(row: ShopNote, at_us: int, zone: tzinfo) -> Note:
    kind = KINDS[row.code]
    return _note("now" if kind.pressing else "soon", kind.say(_row(row, at_us, zone)), row)


def _note(kind: str, said: tuple[str, str, tuple[Act, ...]], row: ShopNote) -> Note:
    head, body, acts = said
    seen = tuple(str(one["name"]) for one in row.seen)
    return Note(kind, head, body, acts, row.table.code if row.table else "", row.pk, seen)


def _row(row: ShopNote, at_us: int, zone: tzinfo) -> Row:
    name, code = (row.table.name, row.table.code) if row.table else ("", "")
    return Row(row.code, row.subject, row.values, name, code, at_us, zone)


def of_found(
    found: Iterable[Found], tables: Iterable[Table], now: datetime, zone: tzinfo
) -> list[Note]:
    """What was found just now, said without being kept."""
    by_code = {table.code: table for table in tables}
    rows = [
        ShopNote(
            code=one.code,
            subject=one.subject,
            values=dict(one.values),
            table=by_code.get(one.table),
            began_at=now,
        )
        for one in found
    ]
    return said_of(rows, now, zone)


def notes_between(start: datetime, end: datetime, now: datetime, zone: tzinfo) -> list[Past]:
    """Notes that stood in [start, end), those that began last first."""
    rows = ShopNote.objects.filter(
        Q(ended_at=None)
        | Q(ended_at__gt=start, ended_at__lte=end)
        | Q(ended_at__gt=end, began_at__gte=start - LONGEST),
        code__in=KINDS,
        began_at__lt=end,
    ).select_related("table")
    return [
        Past(
            note_of(row, to_us(row.ended_at or now), zone),
            row.table.name if row.table else "",
            row.began_at,
            row.ended_at,
            tuple(str(one["name"]) for one in row.seen),
        )
        for row in rows.order_by("-began_at", "-pk")[:MOST]
    ]
