"""A few days of the example shop, worked out a second time from its raw lines (`recompute.py`,
which imports nothing of ours) and held against what is stored and reported: to the microsecond and
the cent. Every difference is named. `KERFBOOK_RECOMPUTE_DAYS=31` takes a whole month."""

from __future__ import annotations

import ast
import os
import sqlite3
import sys
from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.models import Sum

from planning.reports.balance import balance_days
from planning.services.history import figures_of_history, plan_all
from shopfloor.demo import load
from shopfloor.demo.promises import keep_plans
from shopfloor.models import ArcAssignment, NestRevision, Posting, RunVariance, Table
from shopfloor.nests.reread import nests_read_before, table_reread
from shopfloor.people.roles import roles_sync
from shopfloor.runs.follow import follow_arcs
from telemetry.models import Arc
from telemetry.services import feed_register
from tests.system import recompute

NOW = datetime(2026, 10, 22, 16, 30, tzinfo=UTC)  # a Thursday, 11:30 in the shop's own zone
DAYS = int(os.environ.get("KERFBOOK_RECOMPUTE_DAYS", "8"))


def test_it_imports_nothing_of_ours():
    tree = ast.parse(Path(recompute.__file__).read_text(encoding="utf-8"))
    names = {a.name for node in ast.walk(tree) if isinstance(node, ast.Import) for a in node.names}
    names |= {node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert {name.split(".")[0] for name in names} <= sys.stdlib_module_names


@pytest.fixture
def twice(transactional_db, tmp_path, time_machine):
    """The shop as loaded by the demo's own steps, and the same worked out anew."""
    time_machine.move_to(NOW)
    roles_sync()  # the flush of a committing test before this one took them
    loaded = load.load(now=NOW, begin=NOW - timedelta(days=DAYS))
    plan_all(now=NOW)
    keep_plans()
    for code, path in loaded.feeds.items():
        load.port_named(code)
        feed_register(name=code, text=load.feed_text(code), by="test")
        call_command("backfill", code, str(path), verbosity=0)
    while follow_arcs(limit=20_000):
        pass
    figures_of_history(closed_by="ann", now=NOW)
    copy = tmp_path / "shop.sqlite3"
    with sqlite3.connect(copy) as target:
        connection.connection.backup(target)
    target.close()
    return recompute.Shop(copy, loaded.feeds)


@pytest.mark.long
@pytest.mark.skipif(connection.vendor != "sqlite", reason="reads the rows of an SQLite file")
def test_a_second_reckoning_agrees_to_the_microsecond_and_the_cent(twice):
    assert len(twice.arcs) > 1000
    assert len(twice.finished()) > 20
    differences = [
        *_differences("arcs", _arcs(twice), _stored_arcs()),
        *_differences("run", _runs(twice), _stored_runs()),
        *_differences("minutes", _minutes(twice), _reported_minutes()),
        *_differences("money", _money(twice), _stored_money()),
    ]
    assert not differences, "\n".join(differences[:40])
    _as_read_now()


def _as_read_now():
    """Its nests are kept as the reader of today would: reading them again makes no revision."""
    assert nests_read_before() == 0
    count = NestRevision.objects.count()
    for key in NestRevision.objects.values_list("nest", flat=True)[:10]:
        table_reread(key=f"nest:{key}", payload={})
    assert NestRevision.objects.count() == count


def _differences(what, anew, stored):
    return [
        f"{what} {key}: {anew.get(key)} anew, {stored.get(key)} stored"
        for key in sorted(anew.keys() | stored.keys(), key=str)
        if (anew.get(key) or None) != (stored.get(key) or None)
    ]


def _arcs(twice):
    return {
        (arc.table, arc.on): (arc.off, arc.pierces, segment and segment["run_id"])
        for arc in twice.arcs
        for segment in [twice.segment_of[arc.table, arc.on]]
    }


def _stored_arcs():
    runs = {
        row.arc_key: row.segment and row.segment.run_id.hex
        for row in ArcAssignment.objects.select_related("segment")
    }
    return {
        (arc.table, arc.on_us): (arc.off_us, arc.pierces, runs.get(arc.key))
        for arc in Arc.objects.all()
    }


def _runs(twice):
    return {
        run: (
            len(arcs),
            sum(arc.off - arc.on for arc, _ in arcs) if arcs else None,
            sum(arc.pierces for arc, _ in arcs) if arcs else None,
            twice.elapsed(run),
        )
        for run in twice.finished()
        for arcs in [twice.arcs_of_run[run]]
    }


def _stored_runs():
    def us(seconds):
        return None if seconds is None else round(seconds * 1e6)

    return {
        row.run_id.hex: (row.arcs, us(row.arc_s), row.pierces, us(row.elapsed_s))
        for row in RunVariance.objects.filter(run__state="finished")
    }


def _minutes(twice):
    return {
        (str(day), table, duty): us
        for (day, table, duty), us in twice.seconds_by_day_and_duty().items()
    }


def _reported_minutes():
    names = {table.name: table.code for table in Table.objects.all()}
    told = balance_days(first=(NOW - timedelta(days=DAYS + 2)).date(), last=NOW.date())
    return {
        (str(row.day), names[row.table], row.duty): round(row.burnt_min * 60e6)
        for row in told.itertuples()
        if row.burnt_min
    }


def _money(twice):
    """By run and kind, and of the whole time by kind."""
    found = Counter(twice.money())
    for (_, kind), minor in twice.money().items():
        found["all", kind] += minor
    return found


def _stored_money():
    rows = (
        Posting.objects.exclude(kind__in=("wear", "bench"))
        .filter(piece=None)  # what is left unused of pieces that crashed is wear too
        .exclude(run=None)
        .values_list("run", "kind")
        .annotate(Sum("amount_minor"))
    )
    found = Counter({(run.hex, kind): minor for run, kind, minor in rows if minor})
    for _, kind, minor in rows:
        found["all", kind] += minor
    return found
