"""The only module here that asks: planning's reports for every figure, and the shop's own records
(by named reads) for what a page shows beside them. Nothing is worked out in it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pandas as pd
from django.utils import timezone

from planning import reports
from planning.reports import change_pays as change_reports
from planning.reports import glance as glances
from planning.reports import openers, promise, promise_help, promise_kept, promise_score, survival
from planning.reports.change_pays import ChangePays
from planning.reports.factors import FactorBoard
from planning.reports.failures import FailuresBoard
from planning.reports.figure import Figure
from planning.reports.glance import Glance
from planning.reports.hand_over import ShiftDrafts, drafts
from planning.reports.measures import Measures
from planning.reports.notes.reading import Past, notes_between
from planning.reports.promise import Board
from planning.reports.promise_help import Help
from planning.reports.promise_kept import Shown
from planning.reports.promise_score import Score
from planning.reports.quote_paper import QuotePaper
from planning.reports.quotes import QuoteBoard, QuoteDetail
from planning.reports.routes import NestRoutes
from planning.reports.shapes import CostMonth, JobCost, RunDetail, Today, WearBoard
from planning.reports.squareness import Squareness
from planning.reports.survival import Learned, PartLife
from planning.reports.wear_due import DueAt, due_times
from planning.services.notes import notes_sweep
from shopfloor.background import queries as work
from shopfloor.drawings import queries as drawings
from shopfloor.runs import desk_queries as desk
from shopfloor.runs import opened_stretch as desk_arcs
from shopfloor.runs import run_page as desk_runs
from shopfloor.runs.suggested import Stretch, Suggestion, suggestions_of
from shopfloor.runs.unassigned import Unassigned
from shopfloor.site.calendar import ShiftSpan, shift_at, shifts_between
from shopfloor.site.queries import shift_patterns, shop_zone, the_shop
from shopfloor.wording.quantity import Right


def now() -> datetime:
    return timezone.now()


def zone() -> ZoneInfo:
    return ZoneInfo(shop_zone())


def currency() -> tuple[str, int]:
    """The shop's currency and how many digits its minor unit has."""
    shop = the_shop()
    return shop.currency, shop.currency_digits


def today(at: datetime, *, over: bool = False) -> Today:
    return reports.today(now=at, over=over)


def hand_over_drafts(at: datetime, *, inch: bool) -> ShiftDrafts | None:
    return drafts(at, inch=inch)


def notes_of(start: datetime, end: datetime, at: datetime) -> list[Past]:
    """What wanted a hand in [start, end)."""
    return notes_between(start, end, at, zone())


def notes_look(at: datetime) -> None:
    """Looks for notes now: whoever did something about one need not wait for the worker."""
    notes_sweep(now=at)


def promises(at: datetime) -> Shown:
    """All open work drawn, and the hours of the next two weeks: as kept where that still holds."""
    return promise_kept.shown(at)


def promises_drawn(at: datetime) -> tuple[Board, Shown]:
    """The same drawn now, for what is worked out from the draws."""
    board = promise.board(at)
    return board, promise_kept.shown_of(board)


def promises_score(*, replayed: bool = False) -> Score | None:
    """How former promises held."""
    return promise_score.score(replayed=replayed)


def promise_new(board: Board, hours: float) -> tuple[datetime | None, ...]:
    return promise_help.new_job(board, hours)


def promise_helps(board: Board, job_id: int) -> list[Help]:
    return promise_help.helps(board, job_id)


def shift_of(at: datetime) -> ShiftSpan | None:
    """The shift a moment falls in; None between shifts."""
    return shift_at(at, shift_patterns(), zone())


def shifts_near(at: datetime, days: int = 4) -> list[ShiftSpan]:
    """Shifts that began in the days about a moment, in order."""
    about = timedelta(days=days)
    return shifts_between(at - about, at + about, shift_patterns(), zone())


def shifts_on(day: date) -> list[ShiftSpan]:
    """The shifts that belong to a date."""
    noon = datetime(day.year, day.month, day.day, 12, tzinfo=zone())
    about = timedelta(hours=36)
    found = shifts_between(noon - about, noon + about, shift_patterns(), zone())
    return [span for span in found if span.date == day]


def months() -> pd.DataFrame:
    return reports.months()


def cost_month(first_day: date) -> CostMonth:
    return reports.cost_month(first_day=first_day)


def squareness(first_day: date) -> Squareness:
    return reports.squareness(first_day=first_day)


def job_cost(job_id: int) -> JobCost:
    return reports.job_cost(job_id=job_id)


def run_detail(run_id: str) -> RunDetail:
    return reports.run_detail(run_id=run_id)


def air_by_shift(at: datetime, newest: int) -> pd.DataFrame:
    return reports.air_by_shift(now=at, newest=newest)


def failures() -> FailuresBoard | None:
    return reports.failures_board()


def learned_of_pieces(pieces: Sequence[int]) -> dict[int, Learned]:
    """By piece, what is kept of its part."""
    return survival.learned_of_pieces(pieces)


def part_lives(learned: dict[int, Learned]) -> dict[int, PartLife]:
    return survival.part_lives(learned)


def wear_board(at: datetime) -> WearBoard:
    return reports.wear_board(now=at)


def pieces_before(piece: int) -> list[int]:
    """Pieces like it that came out for good, the last first."""
    return reports.pieces_before(piece)


def wear_due(at: datetime, torch: int) -> dict[int, DueAt]:
    """By piece in the torch, when it is at its end if the list is cut as planned."""
    return due_times(now=at, torch=torch)


def change_pays(learned: dict[int, Learned]) -> dict[int, ChangePays]:
    """By piece, when a change of it pays this shop."""
    return change_reports.change_pays(learned)


def balance_days(first: date, last: date) -> pd.DataFrame:
    return reports.balance_days(first=first, last=last)


def nest_by_sets(nest_id: int) -> pd.DataFrame:
    return reports.nest_by_sets(nest_id=nest_id)


def nest_routes(nest_id: int, at: datetime, table_id: int | None, share: float) -> NestRoutes:
    return reports.nest_routes(nest_id=nest_id, now=at, table_id=table_id, speed_share=share)


def factor_board(at: datetime) -> FactorBoard:
    return reports.factor_board(now=at)


def glance(first: date, last: date, at: datetime, *, persons: bool) -> Glance:
    return glances.glance(first=first, last=last, now=at, persons=persons)


def measures(first: date, last: date, at: datetime) -> Measures:
    return reports.measures(first=first, last=last, now=at)


def quote_board(at: datetime, *, text: str, state: str, page: str) -> QuoteBoard:
    return reports.quote_board(now=at, text=text, state=state, page=page)


def quote_paper(quote_id: int, at: datetime) -> QuotePaper:
    return reports.quote_paper(quote_id=quote_id, now=at)


def quote_detail(quote_id: int, at: datetime) -> QuoteDetail:
    return reports.quote_detail(quote_id=quote_id, now=at)


def open_figure(kind: str, key: str) -> Figure:
    return reports.open_figure(kind=kind, id=key)


def right_of(kind: str) -> Right:
    return openers.right_of(kind)


def day_stamp() -> str:
    """Changes whenever anything a day is drawn from has changed; three small reads."""
    return desk.day_stamp()


def shift_notes(*, since: datetime, until: datetime) -> list[desk.ShiftNote]:
    """Lines people left for those who come after them, the newest first."""
    return desk.shift_notes(since=since, until=until)


def reasons() -> list[desk.ReasonChoice]:
    return desk.reasons()


def stoppage(stoppage_id: int) -> desk.StoppageSeen:
    return desk.stoppage_seen(stoppage_id)


def unassigned_stretch(first_key: str, arcs: int | None = None) -> Unassigned:
    """The stretch of arcs without a run that this one lies in, or so many of it from this one on,
    and what they could have been."""
    return desk_arcs.unassigned_stretch(first_key, arcs)


def suggestions(stretches: Sequence[Stretch]) -> list[tuple[Suggestion, ...]]:
    """What each of these stretches without a run could have been."""
    return suggestions_of(stretches)


def arc_pauses(loose: Unassigned) -> list[desk_arcs.Pause]:
    """Where a stretch can be split."""
    return desk_arcs.pauses(loose)


def runs_between(start: datetime, end: datetime) -> list[desk_runs.RunOfShift]:
    """Runs that were open in [start, end), the newest first."""
    return desk_runs.runs_between(start, end)


def backlog() -> tuple[int, int]:
    """Figures that are still being worked out, and those that could not be."""
    return work.backlog()


def table_name(code: str) -> str:
    return desk.table_name(code)


def run_map(run_id: str) -> desk_runs.RunMap:
    return desk_runs.run_map(run_id)


def run_checks(run_id: str) -> list[desk_runs.CheckSeen]:
    return desk_runs.run_checks(run_id)


def run_changes(run_id: str) -> list[desk_runs.ChangeSeen]:
    return desk_runs.run_changes(run_id)


def inspections(piece_ids: list[int]) -> list[desk.Inspected]:
    return desk.inspections(piece_ids)


def nests_to_choose() -> list[tuple[int, str]]:
    """Nests that are not withdrawn, the newest first: id and what it says of itself."""
    return desk.nests_to_choose()


def nest_chosen(text: str) -> int | None:
    """The nest in use of that name, alone or in the words it is offered by."""
    return desk.nest_chosen(text)


def nest_names() -> list[str]:
    """Names of all nests, the newest first; withdrawn ones may have been burnt too."""
    return desk.nest_names()


def nests_offered() -> list[str]:
    """Names of the newest nests in use."""
    return desk.nests_offered()


def nest_asked_for(text: str) -> tuple[int, str] | None:
    """The nest a person means by a name or a part of it: id and name."""
    return desk.nest_asked_for(text)


def drawings_to_choose() -> list[tuple[str, str]]:
    """Drawings by table and set that can, the newest first: "drawing-table-set" and words."""
    return drawings.drawings_to_choose()


def parts_to_quote(wanted: dict[int, int]) -> list[drawings.PartToQuote]:
    """Drawings with how many of each are wanted, and their routes."""
    return drawings.parts_to_quote(wanted)


def drawing_chosen(text: str) -> str | None:
    """The "drawing-table-set" of a drawing's name, alone or in the words it is offered by."""
    return drawings.drawing_chosen(text)


def pit_limit_mm() -> float:
    return the_shop().pit_limit_mm
