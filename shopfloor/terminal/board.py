"""Everything the terminal's screens show of one table, read once for a page or a poll. No money:
nothing here reads a price, a rate or a quote."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from shopfloor.jobs.floor import bench_card as lines
from shopfloor.models import (
    Reason,
    Run,
    RunState,
    Segment,
    Stoppage,
    Table,
    Terminal,
    Units,
    User,
)
from shopfloor.nests.floor import queue_card as items
from shopfloor.notes.hand_overs import latest_at
from shopfloor.quality.floor.first_piece_card import failed_words, signature_wanted
from shopfloor.runs.floor.loose_arcs_card import loose_of
from shopfloor.runs.floor.run_card import Cutting, Stopped, cutting_of, stopped_of
from shopfloor.runs.floor.undo_card import clashes, last_undo
from shopfloor.runs.parts import CAUSES
from shopfloor.runs.queries import current_run, first_piece_needed, last_segment, stop_reasons
from shopfloor.site.queries import the_shop
from shopfloor.terminal.words import day_clock, facts_of
from shopfloor.wear.floor import change_card as changes
from shopfloor.wear.floor.air_card import air_of
from shopfloor.wear.floor.torch_card import TorchKeys, fitted_in, torches_of
from shopfloor.wording.cautions import AIR, BENCH, CHANGE, FINISH, OTHER_SET, PLATE, RESTART

GAPS_BACK = timedelta(hours=24)
GAPS_MOST = 12
LEFT_FOR = timedelta(hours=16)
REASONS_BACK = timedelta(days=30)
MARKS = (("scrap", N_("Scrap")), ("rework", N_("Rework")), ("not_cut", N_("Not cut")))
RESTARTS = (
    ("power", N_("Power lost")),
    ("crash", N_("Crash")),
    ("shift", N_("Shift ended")),
    ("other", N_("Something else")),
)


# Steps and first figures of what is measured at the table, as each person reads lengths.
MM = {"unit": "mm", "size_step": "10", "fine_step": "0.1", "u_step": "0.05", "u_start": "0.30",
      "pit_step": "0.1", "pit_start": "1.0", "part_start": "20", "length_start": "1000",
      "width_start": "500"}  # fmt: skip
IN = {"unit": "in", "size_step": "1", "fine_step": "0.005", "u_step": "0.002", "u_start": "0.012",
      "pit_step": "0.005", "pit_start": "0.040", "part_start": "1.000", "length_start": "40",
      "width_start": "20"}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Gap:
    id: int
    words: str


@dataclass(frozen=True, slots=True)
class Board:
    state: str  # run, stopped, idle
    cutting: Cutting | None
    stopped: Stopped | None
    torches: list[TorchKeys]
    items: list[items.Item]
    gaps: list[Gap]
    extra: dict[str, Any]

    def __getitem__(self, name: str) -> Any:
        """Lists and words that only templates read, by their name."""
        return self.extra[name]

    @property
    def run_id(self) -> str:
        return str(self.cutting.run.pk) if self.cutting else ""

    @property
    def run_payload(self) -> str:
        return self.cutting.payload if self.cutting else "{}"

    @property
    def revision(self) -> int | str:
        return self.cutting.run.revision_id if self.cutting else ""


def board_of(*, table: Table, terminal: Terminal, person: User, now: datetime) -> Board:
    run = open_run(table, now)
    last = last_segment(run) if run else None
    stoppage = Stoppage.objects.filter(table=table, ended_at=None).select_related("reason").first()
    wanted = run.revision.nest.wear_set if run else None
    torches = torches_of(table, wanted, now, cuts=last.torch_id if last else None)
    inch = person.units == Units.INCH
    found, whole = items.first_waiting(table)
    rows = items.listed(found)
    facts = facts_of([one.revision.pk for one in rows] + ([run.revision_id] if run else []))
    queue = items.items_of(rows, facts, table, fitted_in(torches), inch=inch)
    cutting = cutting_of(run, facts[run.revision_id], last, now) if run else None
    return Board(
        state=state_of(cutting, stoppage),
        cutting=cutting,
        stopped=stopped_of(stoppage) if run else None,
        torches=torches,
        items=queue,
        gaps=gaps_of(table, now),
        extra={
            **change_lists(torches, wanted or (queue[0].wanted if queue else None)),
            **fixed_lists(),
            **measures(person),
            **run_facts(cutting, last, person),
            "reasons": reasons_of(table, now),
            "waiting_more": max(whole - len(queue), 0),
            "bench_lines": lines.bench_lines(table),
            "loose": loose_of(table, run, now),
            "left": latest_at(table, now - LEFT_FOR),
            "air": air_of(table, now, inch=inch),
            "undo": last_undo(terminal, now),
            "conflicts": clashes(now),
        },
    )


def state_of(cutting: Cutting | None, stoppage: Stoppage | None) -> str:
    if cutting is None:
        return "idle"
    return "stopped" if stoppage or cutting.run.state == RunState.STOPPED else "run"


def open_run(table: Table, now: datetime) -> Run | None:
    found = current_run(table, now)
    if found is None or found.state not in (RunState.OPEN, RunState.STOPPED):
        return None
    return found


def change_lists(torches: list[TorchKeys], wanted: Any) -> dict[str, Any]:
    several = len(torches) > 1
    filled = changes.trays_filled()
    ready = [changes.trays_ready(filled, one.torch, wanted, named=several) for one in torches]
    fresh = [changes.fresh_sets(one.torch, one.fitted, wanted, named=several) for one in torches]
    return {
        "trays": [key for keys in ready for key in keys],
        "fresh_sets": [key for keys in fresh for key in keys],
        "removal_states": [(code, _(word)) for code, word in changes.REMOVALS],
        "removal_causes": changes.removal_causes(),
    }


def fixed_lists() -> dict[str, Any]:
    return {
        "change_caution": CHANGE.to_reader(),
        "restart_caution": RESTART.to_reader(),
        "other_set_caution": OTHER_SET.to_reader(),
        "finish_caution": FINISH.to_reader(),
        "bench_caution": BENCH.to_reader(),
        "plate_caution": PLATE.to_reader(),
        "air_caution": AIR.to_reader(),
        "marks": [(code, _(word)) for code, word in MARKS],
        "causes": CAUSES,
        "restart_reasons": [(code, _(word)) for code, word in RESTARTS],
        "swap_reasons": items.SWAP_REASONS,
        "plate_reasons": items.PLATE_REASONS,
        "keep_reasons": items.KEEP_REASONS,
        "aside_reasons": items.ASIDE_REASONS,
        "bench_kinds": [(code, _(word)) for code, word in lines.KINDS],
        "bench_minutes": lines.MINUTES,
    }


def measures(person: User) -> dict[str, Any]:
    """How this person reads lengths: steps, unit and what a figure is multiplied with for mm."""
    if person.units == Units.INCH:
        return {**IN, "scale": "25.4"}
    return {**MM, "scale": "1"}


def run_facts(cutting: Cutting | None, last: Segment | None, person: User) -> dict[str, Any]:
    if cutting is None:
        return {
            "first_piece_needed": False,
            "failed_check": "",
            "countersign": "",
            "restart_at": 1,
            "contours": "",
            "restart_words": "",
            "asked_words": _("Nothing is cutting."),
            "plate_words": "",
            "plates": [],
        }
    run = cutting.run
    wanted = signature_wanted(run)
    return {
        "first_piece_needed": first_piece_needed(run, last),
        "failed_check": failed_words(run, inch=person.units == Units.INCH),
        "countersign": wanted.words(person.units) if wanted else "",
        "restart_at": cutting.restart_at,
        "contours": cutting.progress.contours,
        "restart_words": restart_words(cutting),
        "asked_words": asked_words(run),
        "plate_words": items.sheet_words(run.sheet) if run.sheet else _("No sheet was scanned"),
        "plates": items.sheets_for(run.revision.nest, inch=person.units == Units.INCH),
    }


def restart_words(cutting: Cutting) -> str:
    progress = cutting.progress
    begun = progress.begun.words if progress.begun else ""
    if not progress.done:
        whole = _("Contours 1 to {contours}.").format(contours=progress.contours)
        return f"{whole} {begun or _('The signal does not say which were burnt.')}"
    said = _(
        "Contours 1 to {contours}; {count} seen burnt, the first not seen is {restart_at}.{begun}"
    ).format(
        contours=progress.contours,
        count=len(progress.done),
        restart_at=cutting.restart_at,
        begun=begun,
    )
    if progress.certain == max(progress.done):
        return _("{said} The last certain one is {certain}.").format(
            said=said, certain=progress.certain
        )
    last = progress.certain or "none"
    return _(
        "{said} Lines or arcs are missing: the last certain one is {last}. Look at the plate."
    ).format(said=said, last=last)


def asked_words(run: Run) -> str:
    ranges = (
        run.revision.contours.filter(line__u_range_asked__isnull=False)
        .order_by("line__u_range_asked")
        .values_list("line__u_range_asked", "line__job__number", "line__part")
        .distinct()
    )
    told = [
        _("{job} {part}: u range {asked}").format(job=job, part=part, asked=asked)
        for asked, job, part in ranges
    ]
    return f"{'; '.join(told)} (ISO 9013)." if told else _("The drawings ask nothing of the edge.")


def gaps_of(table: Table, now: datetime) -> list[Gap]:
    """Ended stops nobody explained, long enough that the shop wants to know."""
    least = timedelta(seconds=the_shop().ask_reason_after_s)
    rows = Stoppage.objects.filter(
        table=table, reason=None, ended_at__isnull=False, started_at__gte=now - GAPS_BACK
    )
    return [
        Gap(
            row.pk,
            _("{started_at} to {ended_at}").format(
                started_at=day_clock(row.started_at, now), ended_at=day_clock(row.ended_at, now)
            ),
        )
        for row in rows.order_by("-started_at")
        if row.ended_at is not None and row.ended_at - row.started_at >= least
    ][:GAPS_MOST]


def reasons_of(table: Table, now: datetime) -> list[Reason]:
    """The usual ones on this table first, then in the shop's order."""
    used: dict[int, int] = {}
    given = Stoppage.objects.filter(table=table, started_at__gte=now - REASONS_BACK)
    for reason in given.exclude(reason=None).values_list("reason", flat=True):
        used[reason] = used.get(reason, 0) + 1
    return sorted(stop_reasons(), key=lambda one: (-used.get(one.pk, 0), one.order, one.label))
