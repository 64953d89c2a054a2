"""The sweep that opens and ends notes of Today, and who has seen them."""

from __future__ import annotations

from collections.abc import Sequence
from collections.abc import Set as AbstractSet
from datetime import datetime, timedelta
from typing import Any, Final

from django.db import transaction

from planning.reports.notes.finding import find_all
from planning.reports.notes.found import Found
from shopfloor.models import Change, NoteSweep, ShopNote, Table, User
from shopfloor.runs.arcs import from_us, to_us

EVERY: Final = timedelta(seconds=30)
SOONEST: Final = timedelta(seconds=8)  # after the last one, where records changed since
AGAIN: Final = timedelta(minutes=5)  # what comes back within this was never over: one row, one name
AHEAD: Final = timedelta(minutes=1)  # a sweep of further ahead was made before the clock was set

Key = tuple[str, str]  # code and subject


def notes_due(*, now: datetime) -> bool:
    """Looks again where somebody changed a record, else every half minute; two statements where
    neither is so. True where it looked."""
    last = NoteSweep.objects.first()
    if last is not None and last.looked_at <= now + AHEAD:
        age = now - last.looked_at
        if age < SOONEST or (age < EVERY and last.change == _newest_change()):
            return False
    notes_sweep(now=now)
    return True


def notes_sweep(*, now: datetime) -> None:
    """Opens a note for what is found and has none, ends those of what is gone, and keeps the
    numbers of the others. Harmless to repeat. Of two sweeps at once the one that looked last
    holds."""
    change, found = _newest_change(), {(one.code, one.subject): one for one in find_all(now)}
    tables = dict(Table.objects.values_list("code", "pk"))
    NoteSweep.objects.get_or_create(pk=1, defaults={"looked_at": now - EVERY})
    with transaction.atomic():
        last = NoteSweep.objects.select_for_update().get(pk=1)
        if now < last.looked_at <= now + AHEAD:
            return
        rows = ShopNote.objects.filter(ended_at=None)
        there = {(row.code, row.subject): row for row in rows}
        _end([row.pk for key, row in there.items() if key not in found], now)
        there |= _back(found.keys() - there.keys(), now)
        _follow([(row, found[key]) for key, row in there.items() if key in found])
        new = [_opened(one, tables, now) for key, one in found.items() if key not in there]
        ShopNote.objects.bulk_create(new, ignore_conflicts=True)
        NoteSweep.objects.filter(pk=1).update(looked_at=now, change=change)


def _end(gone: Sequence[int], now: datetime) -> None:
    if gone:
        ShopNote.objects.filter(pk__in=gone).update(ended_at=now)


def _back(new: AbstractSet[Key], now: datetime) -> dict[Key, ShopNote]:
    """Opens again what ended a moment ago. What comes and goes about a limit, as a source that
    hears every other minute does, would else be hundreds of rows a day, and nobody's name would
    stay on it."""
    ended = ShopNote.objects.filter(ended_at__gt=now - AGAIN, ended_at__lte=now)
    rows = {(row.code, row.subject): row for row in ended.order_by("ended_at", "pk")}
    back = {key: row for key, row in rows.items() if key in new}
    if back:
        ShopNote.objects.filter(pk__in=[row.pk for row in back.values()]).update(ended_at=None)
    return back


def _follow(pairs: Sequence[tuple[ShopNote, Found]]) -> None:
    changed = []
    for row, one in pairs:
        if row.values != dict(one.values):
            row.values = dict(one.values)
            changed.append(row)
    ShopNote.objects.bulk_update(changed, ["values"])


def _opened(one: Found, tables: dict[str, int], now: datetime) -> ShopNote:
    return ShopNote(
        code=one.code,
        subject=one.subject,
        table_id=tables.get(one.table),
        values=dict(one.values),
        began_at=now if one.since_us is None else min(now, from_us(one.since_us)),
        found_at=now,
    )


def _newest_change() -> int:
    return Change.objects.order_by("-pk").values_list("pk", flat=True).first() or 0


@transaction.atomic
def note_seen(*, note_id: int, by: User, now: datetime) -> ShopNote | None:
    """Puts a person's name on a note, once. None where there is no such note."""
    note = ShopNote.objects.select_for_update().filter(pk=note_id).first()
    if note is None:
        return None
    seen: list[dict[str, Any]] = note.seen
    if all(one["person"] != by.pk for one in seen):
        note.seen = [*seen, {"person": by.pk, "name": by.shown_name, "at_us": to_us(now)}]
        note.save(update_fields=["seen"])
    return note
