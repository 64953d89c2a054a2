"""What a shop still lacks before its first run is tied to a job, in the order it is set up."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.contrib.contenttypes.models import ContentType
from django.db.models import Exists, OuterRef, Q, QuerySet
from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from shopfloor.models import (
    ChartRow,
    Contour,
    Job,
    Material,
    Nest,
    QueueItem,
    Rate,
    Reason,
    Run,
    RunState,
    SetPart,
    Sheet,
    Shift,
    Shop,
    Table,
    Terminal,
    User,
    WearSet,
)
from shopfloor.people.rights import FLOOR
from telemetry.models import Feed


@dataclass(frozen=True, slots=True)
class Step:
    """`url_name` is the page that does it. Without `needed` a first run can do without it."""

    label: str
    done: bool
    url_name: str
    why: str
    needed: bool = True


@dataclass(frozen=True, slots=True)
class _Rule:
    label: str
    url_name: str
    why: str
    there: QuerySet[Any]  # done where one of these is there
    needed: bool = True
    unless: QuerySet[Any] | None = None  # and none of these


_FLOOR = Q(is_superuser=True) | Q(user_permissions__codename=FLOOR)
_SETS = WearSet.objects.filter(active=True)
_FINISHED = Run.objects.filter(state=RunState.FINISHED)

_RULES = (
    _Rule(
        N_("Name, time zone, units and currency"),
        "shop",
        N_("times and sizes are shown by them"),
        Shop.objects.all(),
    ),
    _Rule(
        N_("Shifts"),
        "shop",
        N_("without them a day has no plan and availability is unknown"),
        Shift.objects.all(),
        needed=False,
    ),
    _Rule(
        N_("Reasons for a stop"),
        "shop",
        N_("operators choose one at the table"),
        Reason.objects.filter(active=True),
        needed=False,
    ),
    _Rule(
        N_("A table"),
        "table_add",
        N_("its speeds and times make the plan"),
        Table.objects.filter(active=True),
    ),
    _Rule(
        N_("Somebody with a PIN for the screens"),
        "person_add",
        N_("operators sign in with it"),
        User.objects.exclude(pin_hash="").filter(
            _FLOOR | Q(groups__permissions__codename=FLOOR), is_active=True
        ),
    ),
    _Rule(
        N_("A signal source"),
        "source_add",
        N_("arcs are counted by it; without one, by hand"),
        Feed.objects.all(),
        needed=False,
    ),
    _Rule(
        N_("Your cut chart"),
        "chart_import",
        N_("speeds and pierce times; it makes the sets and materials it names"),
        ChartRow.objects.filter(valid_to=None),
    ),
    _Rule(
        "A material",
        "materials",
        N_("plate and nests need one; the cut chart makes its own"),
        Material.objects.all(),
    ),
    _Rule(
        N_("Prices and rated lives of wear parts, for every set"),
        "prices_bring",
        N_("without them wear costs nothing known"),
        _SETS,
        needed=False,
        unless=_SETS.exclude(Exists(SetPart.objects.filter(wear_set=OuterRef("pk")))),
    ),
    _Rule(
        N_("What an hour costs"),
        "rates",
        N_("without it cost is unknown"),
        Rate.objects.all(),
        needed=False,
    ),
    _Rule("A job", "job_import", N_("what is owed, and by when"), Job.objects.all()),
    _Rule("A nest", "nest_add", N_("read from its cut program"), Nest.objects.all()),
    _Rule(
        N_("A nest’s parts tied to the lines of a job"),
        "nests",
        N_("on the nest’s page; so a run counts for its job"),
        Contour.objects.exclude(line=None),
    ),  # not of lines: PostgreSQL would join them all
    _Rule(
        N_("A nest in a table’s queue"),
        "nests",
        N_("on the nest’s page: put it in a queue"),
        QueueItem.objects.all(),
    ),
    _Rule(
        N_("Plate in stock"),
        "stock_receive",
        N_("with its heat number, which a run is traced by"),
        Sheet.objects.all(),
    ),
    _Rule(
        N_("A screen beside the table"),
        "terminals",
        N_("it gets a code to type there"),
        Terminal.objects.filter(active=True),
    ),
    _Rule(N_("A first run"), "floor:home", N_("started and finished at the screen"), _FINISHED),
)


def first_steps() -> list[Step]:
    """Every step with whether it is done, in one query; any table that has rows will do for it."""
    asked = {f"there{n}": Exists(rule.there) for n, rule in enumerate(_RULES)}
    asked |= {
        f"unless{n}": Exists(rule.unless)
        for n, rule in enumerate(_RULES)
        if rule.unless is not None
    }
    rows: Any = ContentType.objects.order_by("pk").values(**asked)
    found = rows[0]
    return [
        Step(
            _(rule.label), found[f"there{n}"] and not found.get(f"unless{n}", False), rule.url_name,
            _(rule.why), rule.needed,
        )
        for n, rule in enumerate(_RULES)
    ]  # fmt: skip


def steps_missing() -> list[Step]:
    """What is still to be done; nothing once a sheet was burnt to its end, which costs one small
    read."""
    return [] if _FINISHED.exists() else [step for step in first_steps() if not step.done]


def next_step() -> Step | None:
    """The first that a run cannot do without."""
    return next((step for step in steps_missing() if step.needed), None)
