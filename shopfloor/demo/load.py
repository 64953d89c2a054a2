"""Loads the invented shop with ninety days behind it: the records here, the lines through the
same intake as live ones."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db import transaction

from shopfloor.audit.actor import acting
from shopfloor.demo import LOADED, cast, make
from shopfloor.demo.catalogue import orders
from shopfloor.demo.drawing import drawings
from shopfloor.demo.floor import Writer
from shopfloor.demo.history import Table as Simulated
from shopfloor.demo.lines import FEED, history_lines, write_csv
from shopfloor.demo.odds import odds
from shopfloor.demo.orders import expected, lots_of, sheet_s, week_s, write
from shopfloor.demo.rows import History
from shopfloor.models import Job, JobState, Shop, User
from shopfloor.site.calendar import shifts_between
from shopfloor.site.queries import shift_patterns

SEED = 20260611
DAYS = 90
ORDERS = 320
AHEAD = 5  # orders whose cutting has not begun


@dataclass(frozen=True, slots=True)
class Loaded:
    """The CSV of lines each feed is to take in, and how many lines that is."""

    feeds: dict[str, Path]
    lines: int


def shop_here() -> str:
    """Whose shop the database holds: "none", "example", or "own"."""
    shop = Shop.objects.first()
    if shop is None:
        return "none"
    return "example" if shop.is_demo else "own"


def port_of(table: str) -> Path:
    """Where the simulated table's serial port appears."""
    return Path(settings.DATA_DIR) / "ports" / table


def port_named(table: str) -> None:
    """Gives the port its name before the simulated table is switched on: a link into /dev that
    leads to nothing yet, like a device that is not plugged in."""
    path = port_of(table)
    path.parent.mkdir(parents=True, exist_ok=True)
    if not path.is_symlink():
        path.symlink_to("/dev/pts/none")


def feed_text(table: str) -> str:
    return FEED.format(table=table, port=port_of(table))


def load(*, now: datetime, begin: datetime | None = None) -> Loaded:
    """Writes all records in one transaction, and the lines as files in the data folder. The shop's
    work begins at `begin`, ninety days ago unless told."""
    random = Random(SEED)  # noqa: S311 - a demo, not a secret
    begin = begin or now - timedelta(days=DAYS)
    with transaction.atomic(), acting("command start", why=LOADED):
        make.standing(begin=begin, now=now, zone=cast.demo_zone(now))
        history = _simulate(begin, now, random)
        touched = {number for run in history.runs for number in run.lot.numbers}
        history.lots = [lot for lot in history.lots if _wanted(lot.order.number, touched)]
        planner = User.objects.get(username="ines")
        written = write(
            history.lots,
            finished=_finish_times(history, now.timestamp()),
            now=now,
            by=planner,
            random=random,
        )
        writer = Writer(written, random, now)
        writer.write(history)
        writer.queue(history)
        odds(history, now=now, random=Random(SEED + 1))  # noqa: S311 - a demo, not a secret
        _close_jobs(history)
        drawings(by=planner)
        # Lines are on disk before the records are, so that a load cut short can be gone on with.
        _write_lines(history)
    return resume()


def resume() -> Loaded:
    """The lines of a shop whose records are there, as `load` left them."""
    feeds = {code: _folder() / f"{code}.csv" for code, *_rest in cast.TABLES}
    count = 0
    for path in feeds.values():
        with path.open("rb") as lines:
            count += sum(1 for _ in lines)
    return Loaded(feeds, count)


def ready_mark() -> Path:
    """Stands in the data folder once everything about the shop has been worked out."""
    return _folder() / "ready"


def _folder() -> Path:
    folder = Path(settings.DATA_DIR) / "example"
    folder.mkdir(parents=True, exist_ok=True)
    return folder


def _write_lines(history: History) -> None:
    for code, *_rest in cast.TABLES:
        runs = [run for run in history.runs if run.lot.table == code]
        quiet = [(begun, ended) for table, begun, ended in history.silent if table == code]
        write_csv(_folder() / f"{code}.csv", history_lines(runs, quiet))


def _simulate(begin: datetime, now: datetime, random: Random) -> History:
    zone = ZoneInfo(cast.demo_zone(now))
    spans = shifts_between(begin, now, shift_patterns(), zone)
    lots = lots_of(orders(random, ORDERS), random)
    history = History(lots=lots)
    for code, *_rest in cast.TABLES:
        mine = [lot for lot in lots if lot.table == code]
        lived = Simulated(code, mine, expected, SEED, now.timestamp()).live(spans)
        history.runs += lived.runs
        history.stops += lived.stops
        history.pieces += lived.pieces
        history.shift_ends |= lived.shift_ends
    quiet = _quiet(history, (now - timedelta(days=3)).timestamp())
    history.silent.append(("south", quiet, quiet + 2400))
    history.runs.sort(key=lambda run: run.opened)
    return history


def _quiet(history: History, before: float) -> float:
    """When South's lines were not heard: soon after the start of a run, for some of its arcs."""
    begun = [run.opened for run in history.runs if run.lot.table == "south"]
    return max((at for at in begun if at < before), default=before) + 600


def _wanted(number: int, touched: set[int]) -> bool:
    return number in touched or number <= max(touched, default=0) + AHEAD


def _finish_times(history: History, now: float) -> dict[int, float]:
    """When each order's last sheet was done, or will be at the pace its table works through the
    weeks (epoch seconds)."""
    times: dict[int, float] = {}
    for run in history.runs:
        number = run.lot.order.number
        times[number] = max(times.get(number, 0.0), run.closed or now)
    for code, *_rest in cast.TABLES:
        at = now
        for lot in (lot for lot in history.lots if lot.table == code and lot.done < lot.sheets):
            share = week_s(code) / timedelta(weeks=1).total_seconds()
            at += (lot.sheets - lot.done) * sheet_s(code, lot.design) / share
            for order in (lot.order, lot.guest):
                if order is not None:
                    times[order.number] = max(times.get(order.number, 0.0), at)
    return times


def _close_jobs(history: History) -> None:
    """A job whose every sheet is burnt is closed when its last run was."""
    left = {number for lot in history.lots if lot.done < lot.sheets for number in lot.numbers}
    left |= {number for run in history.runs if run.closed is None for number in run.lot.numbers}
    last: dict[int, float] = {}
    for run in history.runs:
        for number in run.lot.numbers if run.closed else ():
            last[number] = max(last.get(number, 0), run.closed or 0)
    for number, closed in last.items():
        if number not in left:
            Job.objects.filter(number=f"K-{number}").update(
                state=JobState.CLOSED, closed_at=datetime.fromtimestamp(closed, UTC)
            )
