"""`python -m planning.bench.tomorrow.example EVERY`: the past of the shop in the configured
database, replayed at every so many shifts."""

from __future__ import annotations

import json
import sys
from datetime import timedelta
from typing import Any

import django

FIRST = 24  # shifts that are only learned from


def run(every: int) -> dict[str, Any]:
    from django.utils import timezone

    from planning.bench.tomorrow.replay import replay, shift_spans
    from planning.bench.tomorrow.tables import summed
    from planning.inputs.stored_time import typical_of
    from planning.inputs.table_time import table_books
    from shopfloor.models import Run, Table

    now = timezone.now()
    tables = list(Table.objects.order_by("order", "pk"))
    first = Run.objects.earliest("opened_at").opened_at
    books = table_books(tables, first, now, now + timedelta(days=14))
    last = max(run.opened for book in books.values() for run in book.runs)
    found = []
    for table in tables:  # each by itself, as fits are kept
        book = books[table.pk]
        starts, ends = shift_spans(book)
        shifts = [at for at in range(FIRST, len(starts), every) if ends[at] < last]
        found.append(replay([book], shifts, typical_of(table), 1))
    return summed(found)


if __name__ == "__main__":
    django.setup()
    json.dump(run(int(sys.argv[1])), sys.stdout)
