"""What a shop still lacks before its first run is tied to a job, in the order it is set up."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from django.db.models import Exists, OuterRef

from shopfloor.models import (
    ChartRow,
    Job,
    JobLine,
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
    done: Callable[[], bool]
    needed: bool = True


def _floor_people() -> bool:
    """Somebody can sign in at a screen: by the role's right or one of their own."""
    people = User.objects.filter(is_active=True).exclude(pin_hash="")
    return any(person.has_perm("shopfloor.work_floor") for person in people[:20])


def _tied() -> bool:
    lines = JobLine.objects.filter(contours__revision__nest=OuterRef("pk"))
    return Nest.objects.filter(Exists(lines)).exists()


def _priced() -> bool:
    parts = SetPart.objects.filter(wear_set=OuterRef("pk"))
    sets = WearSet.objects.filter(active=True)
    return sets.exists() and not sets.exclude(Exists(parts)).exists()


_RULES = (
    _Rule("Name, time zone, units and currency", "shop", "times and sizes are shown by them",
          lambda: Shop.objects.exists()),
    _Rule("Shifts", "shop", "without them a day has no plan and availability is unknown",
          lambda: Shift.objects.exists(), needed=False),
    _Rule("Reasons for a stop", "shop", "operators choose one at the table",
          lambda: Reason.objects.filter(active=True).exists(), needed=False),
    _Rule("A table", "table_add", "its speeds and times make the plan",
          lambda: Table.objects.filter(active=True).exists()),
    _Rule("Somebody with a PIN for the screens", "person_add", "operators sign in with it",
          _floor_people),
    _Rule("A signal source", "source_add", "arcs are counted by it; without one, by hand",
          lambda: Feed.objects.exists(), needed=False),
    _Rule("A material", "materials", "plate, nests and the cut chart need one",
          lambda: Material.objects.exists()),
    _Rule("Your cut chart", "chart_import", "speeds and pierce times; it makes the sets it names",
          lambda: ChartRow.objects.filter(valid_to=None).exists()),
    _Rule("Prices and rated lives of wear parts, for every set", "prices_bring",
          "without them wear costs nothing known", _priced, needed=False),
    _Rule("What an hour costs", "rates", "without it cost is unknown",
          lambda: Rate.objects.exists(), needed=False),
    _Rule("A job", "job_import", "what is owed, and by when", lambda: Job.objects.exists()),
    _Rule("A nest", "nest_add", "read from its cut program", lambda: Nest.objects.exists()),
    _Rule("A nest’s parts tied to the lines of a job", "nests",
          "on the nest’s page; so a run counts for its job", _tied),
    _Rule("Plate in stock", "stock_receive", "with its heat number",
          lambda: Sheet.objects.exists(), needed=False),
    _Rule("A nest in a table’s queue", "nests", "on the nest’s page: put it in a queue",
          lambda: QueueItem.objects.exists()),
    _Rule("A screen beside the table", "terminals", "it gets a code to type there",
          lambda: Terminal.objects.filter(active=True).exists()),
    _Rule("A first run", "floor:home", "started and finished at the screen",
          lambda: first_run_done()),
)  # fmt: skip


def first_run_done() -> bool:
    """Whether the shop has burnt a sheet to its end: then the list is off the pages."""
    return Run.objects.filter(state=RunState.FINISHED).exists()


def first_steps() -> list[Step]:
    return [Step(rule.label, rule.done(), rule.url_name, rule.why, rule.needed) for rule in _RULES]


def steps_missing() -> list[Step]:
    """What is still to be done; nothing once there was a first run."""
    return [] if first_run_done() else [step for step in first_steps() if not step.done]
