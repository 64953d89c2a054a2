"""The rows of one model, as they stand in the small shop and in each copy of it."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any

from django.db import models

from planning.bench.bigshop.clock import Back
from planning.bench.bigshop.columns import Change, change, writing
from planning.bench.bigshop.copies import Copy
from planning.bench.bigshop.ending import ENDED

Months = dict[tuple[int, int], int]  # (year, month) to its id
Values = list[Any]


class Rows:
    """Read once from the database `small`, where it was `now`."""

    def __init__(self, kind: type[models.Model], small: str, now: datetime) -> None:
        self.label = kind._meta.label
        self.fields = kind._meta.concrete_fields
        self.names = [field.attname for field in self.fields]
        self.writes = [writing(field) for field in self.fields]
        self.now = now
        found = kind._default_manager.using(small).order_by("pk")
        self.raw = list(found.values_list(*self.names))
        self.plain = [self._written(row) for row in self.raw]

    def copied(self, copy: Copy) -> Iterator[Values]:
        ended = ENDED.get(self.label) if copy.old else None
        changes = self._changes(copy)
        for raw, plain in zip(self.raw, self.plain, strict=True):
            if ended is not None:
                named = dict(zip(self.names, raw, strict=True))
                if not ended(named, copy, self.now):
                    continue
                raw = tuple(named.values())
                plain = self._written(raw)
            row = self._changed(raw, plain, changes)
            yield self._described(row, copy) if self.label == "telemetry.FeedVersion" else row

    def each_table(self, copies: Sequence[Copy], pairs: int) -> Iterator[Values]:
        """A row for the tables of every pair, whichever pair the work was made for."""
        key, table = self.names.index("id"), self.names.index("table_id")
        for copy in copies:
            rows = list(self.copied(copy))
            for across in range(pairs):
                for raw, row in zip(self.raw, rows, strict=True):
                    there = copy.n * pairs + across
                    row[key] = raw[key] + there * copy.steps[self.label]
                    row[table] = raw[table] + across * copy.steps["shopfloor.Table"]
                    yield list(row)

    def posted(self, copies: Sequence[Copy], months: Months) -> Iterator[Values]:
        """Each in the month of its day, none of them closed yet."""
        month, late = self.names.index("month_id"), self.names.index("belongs_to_id")
        day = self.names.index("shift_date")
        for copy in copies:
            for raw, row in zip(self.raw, self.copied(copy), strict=True):
                on = copy.back.day(raw[day])
                row[month], row[late] = months[on.year, on.month], None
                yield row

    def once(self, copy: Copy, oldest: Back) -> Iterator[Values]:
        """As it is, but in force since the oldest work."""
        since = [at for at, name in enumerate(self.names) if name == "valid_from"]
        for raw, plain in zip(self.raw, self.plain, strict=True):
            row = list(plain)
            for at in since:
                if raw[at] is not None:
                    is_moment = isinstance(raw[at], datetime)
                    moved = oldest.at(raw[at]) if is_moment else oldest.day(raw[at]).replace(day=1)
                    row[at] = self.writes[at](moved)
            yield row

    def _described(self, row: Values, copy: Copy) -> Values:
        """A source's description, for the table of this copy."""
        text, digest = self.names.index("text"), self.names.index("sha256")
        for code in copy.tables:
            row[text] = row[text].replace(f'table = "{code}"', f'table = "{copy.code(code)}"')
        row[digest] = hashlib.sha256(row[text].encode()).hexdigest()
        return row

    def _changes(self, copy: Copy) -> list[tuple[int, Change, Change]]:
        told = [(at, change(field, copy)) for at, field in enumerate(self.fields)]
        return [(at, made, self.writes[at]) for at, made in told if made is not None]

    def _changed(
        self, raw: Sequence[Any], plain: Values, changes: list[tuple[int, Change, Change]]
    ) -> Values:
        row = list(plain)
        for at, made, write in changes:
            value = raw[at]
            if value is not None:
                row[at] = write(made(value))
        return row

    def _written(self, row: Sequence[Any]) -> Values:
        pairs = zip(row, self.writes, strict=True)
        return [None if value is None else write(value) for value, write in pairs]
