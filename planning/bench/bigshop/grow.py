"""Fills an empty, migrated database with copies of a small shop's rows."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.db import connections, models
from django.db.models import Max

from planning.bench.bigshop import bulk, past
from planning.bench.bigshop.copies import Copy
from planning.bench.bigshop.rows import Months, Rows
from planning.bench.bigshop.size import Size
from planning.bench.bigshop.sorts import BY_TABLE, BY_TIME, EACH_TABLE, ONCE, model, unsorted
from planning.bench.bigshop.trail import trail_rows
from shopfloor.models import Month, Run, Shop, Table, User
from shopfloor.people.roles import role_give
from telemetry.worker.bulk import pause_garbage_collection

SMALL = "small_shop"  # the small shop's database, by Django's name for it
Say = Callable[[str], None]


class Grown:
    """The copies to be made of one small shop."""

    def __init__(self, size: Size, now: datetime) -> None:
        shop = Shop.objects.using(SMALL).get()
        self.size, self.now = size, now
        self.zone = ZoneInfo(shop.zone)
        self.backs = size.backs(self.zone)
        steps = {label: _step(model(label)) for label in (*BY_TABLE, *BY_TIME, *EACH_TABLE)}
        steps["shopfloor.User"] = _step(User)
        tables = frozenset(Table.objects.using(SMALL).values_list("code", flat=True))
        people = User.objects.using(SMALL).filter(role="operator").values_list("pk", flat=True)
        self.copies = [
            Copy(at * size.pairs + across, across, back, steps, tables, frozenset(people))
            for at, back in enumerate(self.backs)
            for across in range(size.pairs)
        ]

    @property
    def newest(self) -> list[Copy]:
        return self.copies[-self.size.pairs :]


def _step(kind: type[models.Model]) -> int:
    key: Any = kind._meta.pk
    if not isinstance(key, models.BigAutoField | models.AutoField):
        return 0
    return int(kind._default_manager.using(SMALL).aggregate(most=Max("pk"))["most"] or 0) + 1


def grow(small: Path, size: Size, *, now: datetime, say: Say) -> None:
    if missing := unsorted():
        say(f"{', '.join(missing)}: left empty; sorts.py does not say how it is copied")
    connections.databases[SMALL] = {
        **connections.databases["default"],
        "ENGINE": "django.db.backends.sqlite3", "NAME": small, "OPTIONS": {},
    }  # fmt: skip
    grown = Grown(size, now)
    with pause_garbage_collection():
        with bulk.filling():
            months = _months(grown)
            _people(grown)
            for label in (*ONCE, *BY_TABLE, *BY_TIME):
                count = bulk.insert(model(label), _rows(label, grown, months))
                if count > 100_000:
                    say(f"{label}: {count:,}")
        ended = Run.objects.using(SMALL).exclude(state__in=("finished", "voided"))
        past.work_out(grown.copies, list(ended.values_list("pk", flat=True)), now=now)
        say("what was ended is worked out")
        past.close_months(now=now, say=say)
        past.follow_no_more()


def _months(grown: Grown) -> Months:
    """Every month of the span, none of them closed yet: (year, month) to its id."""
    first = grown.now - timedelta(days=grown.size.days * grown.size.blocks)
    day, last = first.date().replace(day=1), grown.now.astimezone(grown.zone).date()
    found: Months = {}
    while day <= last:
        month, _made = Month.objects.get_or_create(first_day=day)
        found[day.year, day.month] = month.pk
        day = (day + timedelta(days=32)).replace(day=1)
    return found


def _people(grown: Grown) -> None:
    """The office once, operators for each pair of tables."""
    for user in User.objects.using(SMALL).order_by("pk"):
        for copy in grown.newest if user.pk in grown.copies[0].operators else grown.newest[:1]:
            made = User(**{f.attname: getattr(user, f.attname) for f in User._meta.concrete_fields})
            made.pk = copy.person(user.pk)
            if copy.across:
                made.username = f"{user.username}{copy.across + 1}"
                made.badge = f"{user.badge}-{copy.across + 1}"
            made.save(force_insert=True, using="default")
            role_give(user=made, role=made.role)


def _rows(label: str, grown: Grown, months: Months) -> Iterator[Sequence[Any]]:
    kind = model(label)
    if label == "shopfloor.Change":
        yield from trail_rows(SMALL, grown.copies)
        return
    rows = Rows(kind, SMALL, grown.now)
    if label in EACH_TABLE:
        yield from rows.each_table(_copies(label, grown), grown.size.pairs)
    elif label == "shopfloor.Posting":
        yield from rows.posted(grown.copies, months)
    elif label in ONCE:
        yield from rows.once(grown.newest[0], grown.backs[0])
    else:
        for copy in _copies(label, grown):
            yield from rows.copied(copy)


def _copies(label: str, grown: Grown) -> list[Copy]:
    if label in ONCE:
        return grown.newest[:1]
    return grown.newest if label in BY_TABLE or label == "telemetry.Event" else grown.copies
