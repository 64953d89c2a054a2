"""What the reports hand on. Seconds are floats, instants integer microseconds UTC where a strip is
drawn from them and aware datetimes elsewhere; money is integer minor units. None is "unknown".

Frames carry in `attrs`: `units` ({column: unit}), `coverage` (a `Coverage`) and, where money is in
them, `currency` and `currency_digits`. Every frame has its columns even when it has no rows.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, NamedTuple

import pandas as pd

from planning.reports.today_ahead import Outlook
from shopfloor.svg.strip.types import StripTable
from shopfloor.wording.quantity import Coverage as Coverage


@dataclass(frozen=True, slots=True)
class Shares:
    """Where a window's time went, in seconds that sum to `total_s`. `burning_share` is of the time
    that is known; low and high are what it can be if none or all of the unknown was burning.
    `entered_s` of it, with `entered_burning_s` of burning, is what somebody entered for a time
    the source was not heard. `outside_s` burnt where no shift was: in none of the four."""

    burning_s: float
    stopped_s: float
    waiting_s: float
    unknown_s: float
    torch_s: float  # sum over torches: above burning_s where two burn at once
    burning_share: float | None
    burning_low: float | None
    burning_high: float | None
    entered_s: float = 0.0
    entered_burning_s: float = 0.0
    outside_s: float = 0.0

    @property
    def total_s(self) -> float:
        return self.burning_s + self.stopped_s + self.waiting_s + self.unknown_s


@dataclass(frozen=True, slots=True)
class Act:
    """What a person can do about a note. `code` names the page or command (a key of
    `dashboards.today.addresses.PLACES`), `target` what it is about; the view knows where."""

    label: str
    code: str
    target: str = ""


@dataclass(frozen=True, slots=True)
class Note:
    """Something that wants a hand: `now` or `soon`, a sentence, and the actions in it."""

    kind: str
    head: str
    body: str
    acts: tuple[Act, ...] = ()
    table: str = ""
    pk: int | None = None  # of the row it was read from
    seen: tuple[str, ...] = ()  # names of who has seen it


@dataclass(frozen=True, slots=True)
class Cluster:
    """Arcs that belong to no run, close together in time."""

    table: str
    torch: str
    from_us: int
    to_us: int
    arcs: int
    burning_s: float
    first_key: str
    last_key: str
    programs: tuple[str, ...] = ()  # what the table said it ran


@dataclass(frozen=True, slots=True)
class RunNow:
    """The run on a table at this moment. `contour` is the last one known cut."""

    run_id: str
    nest: str
    wear_set: str
    duty: str
    opened_at: datetime
    contour: int | None
    contours: int
    planned_s: float | None
    rest_s: float | None
    operator: str
    jobs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TableToday:
    """One table's shift: `strip` is ready to draw."""

    table_id: int
    code: str
    name: str
    shift: str
    shift_date: date
    strip: StripTable
    shares: Shares
    coverage: Coverage
    silences: tuple[tuple[int, int], ...]
    outlook: Outlook | None
    current: RunNow | None
    waiting: int  # queue items still to burn
    unassigned: tuple[Cluster, ...]
    source_from_us: int | None = (
        None  # None: no source is set up; shares begin there at the soonest
    )
    program: str = ""  # what its own lines say the latest arc burnt; "" where none says


class JobToday(NamedTuple):
    """An open job; `jobs.job_rows` says what its figures are."""

    job_id: int
    job: str
    customer: str
    title: str
    due_at: datetime | None
    state: str
    ordered: int
    good: int
    scrap: int
    shortage: int
    queued: int
    planned_rest_s: float | None
    running: bool
    late: bool
    hold_reason: str


@dataclass(frozen=True, slots=True)
class Today:
    now: datetime
    zone: str
    tables: tuple[TableToday, ...]
    notes: tuple[Note, ...]
    lede: str  # one sentence: what is wrong, then what is well
    jobs: tuple[JobToday, ...] | None = None  # of a shift now


@dataclass(frozen=True)
class CostMonth:
    """One month of shift dates, read from postings alone once it is closed.

    jobs: job_id, job, customer, title, quote_minor, plan_minor, actual_minor, margin_minor,
        planned_s, elapsed_s, over_s, evidence, bare_minor (of the actual, from runs without a plan;
        months closed earlier may lack it)
    kinds: job_id, job, kind, amount_minor
    terms: job_id, job, term, seconds, money_minor  (elapsed difference by term, summing to over_s)
    metres: material, thickness_mm, duty, cut_m, amount_minor, per_m_minor, per_ft_minor, runs
        (per metre with every kind but material and credit)
    hours: material, thickness_mm, duty, hours, share, running_share, in_80  (largest first)
    late: later facts posted into this month about closed ones: belongs_to, job, kind,
        amount_minor, why, by
    """

    first_day: date
    closed_at: datetime | None
    closed_by: str
    total_minor: int
    jobs: pd.DataFrame
    kinds: pd.DataFrame
    terms: pd.DataFrame
    metres: pd.DataFrame
    hours: pd.DataFrame
    late: pd.DataFrame
    coverage: Coverage  # of money
    unknown: tuple[str, ...]  # what could not be costed, and why


@dataclass(frozen=True)
class JobCost:
    """One job over all months.

    lines: line_id, number, part, quantity, good, scrap, amount_minor, each_minor
    kinds: line_id, number, kind, plan_minor, actual_minor
    runs: run_id, nest, table, shift_date, planned_s, elapsed_s, amount_minor, evidence
    terms: term, seconds, money_minor
    postings: posting_id, line, kind, month, belongs_to, shift_date, amount_minor, quantity, unit,
        cause, evidence, why, run_id, piece
    """

    job_id: int
    job: str
    customer: str
    title: str
    quote_minor: int | None
    plan_minor: int | None
    actual_minor: int
    lines: pd.DataFrame
    kinds: pd.DataFrame
    runs: pd.DataFrame
    terms: pd.DataFrame
    postings: pd.DataFrame
    coverage: Coverage
    bare_minor: int = 0  # of the actual, from runs without a plan, material apart


@dataclass(frozen=True)
class RunDetail:
    """One run down to its arcs.

    segments: segment_id, torch, wear_set, duty, operator, started_at, ended_at, first_contour,
        last_contour, end_reason, end_assumed
    stoppages: stoppage_id, reason, planned, started_at, ended_at, seconds, evidence
    contours: number, part, job, line, planned_s, actual_s, arcs, repeats, cut_mm, state
        (state: cut, cut again, end not seen, not seen, not yet)
    arcs: arc_key, torch, on_us, off_us, seconds, contour, repeat, ended, pierces, amps, volts,
        evidence, by
    terms: term, planned_s, actual_s, over_s  (over_s sums to elapsed - planned)
    lines: line_id, job, number, part, kind, amount_minor
    pieces: piece_id, label, kind, starts, arc_s, amount_minor
    """

    run_id: str
    nest: str
    revision: int
    table: str
    sheet: str
    heat: str
    state: str
    evidence: str
    opened_at: datetime
    closed_at: datetime | None
    planned_s: float | None
    elapsed_s: float | None
    misfires: int | None  # None: this source cannot know
    segments: pd.DataFrame
    stoppages: pd.DataFrame
    contours: pd.DataFrame
    arcs: pd.DataFrame
    terms: pd.DataFrame
    lines: pd.DataFrame
    pieces: pd.DataFrame
    plan: dict[str, Any]
    coverage: Coverage
    programs: tuple[str, ...] = ()  # names the table's own lines gave, first burnt first


@dataclass(frozen=True)
class WearBoard:
    """Pieces now, in the drawer, and before.

    fitted: piece_id, label, table, torch, torch_id, wear_set, duty, kind, fitted_at, starts,
        arc_s, pit_mm, starts_left, left_low, left_high, due, basis, price_minor, charged_minor
    shelved: piece_id, label, wear_set, kind, starts, arc_s, starts_left, due
    drawer: set_id, wear_set, duty, kind, name, price_minor, rated_starts, in_drawer, shelved,
        low_at, low
    history: piece_id, label, wear_set, kind, state, reason, fitted_at, removed_at, starts, arc_s,
        price_minor, charged_minor
    """

    fitted: pd.DataFrame
    shelved: pd.DataFrame
    drawer: pd.DataFrame
    history: pd.DataFrame
