"""Every kind of note: how pressing it is, its sentence, and how many of it are said one by one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from planning.reports.notes import desk_words as desk
from planning.reports.notes import table_words as table
from planning.reports.notes.saying import Row, Said, Sayer


@dataclass(frozen=True, slots=True)
class Kind:
    """`most` of one table (or of the shop) are said one by one, then `more` says how many are left.
    The more pressing ones stand first, then by the order of `KINDS`."""

    pressing: bool
    say: Sayer
    most: int | None = None
    more: Callable[[int, Row], Said] | None = None


MOST_LATE: Final = 3
MOST_ALARMS: Final = 5
KINDS: Final[dict[str, Kind]] = {
    "alarm": Kind(True, desk.alarm, MOST_ALARMS, desk.more_alarms),
    "counted_twice": Kind(True, desk.counted_twice),
    "started_twice": Kind(False, desk.started_twice),
    "silent": Kind(True, table.silent),
    "down": Kind(True, table.down),
    "standing": Kind(True, table.standing),
    "no_source": Kind(False, table.no_source),
    "arcs": Kind(True, table.arcs),
    "stop": Kind(False, table.stop),
    "will_be_late": Kind(True, table.will_be_late, MOST_LATE, table.more_will_be_late),
    "unplanned": Kind(False, table.unplanned),
    "overtime": Kind(False, table.overtime),
    "set_twice": Kind(False, table.set_twice),
    "drift": Kind(False, table.drift),
    "records": Kind(True, desk.records),
    "backup": Kind(False, desk.backup),
    "signature": Kind(False, desk.signature),
    "amps": Kind(True, desk.amps),
    "job_late": Kind(True, desk.job_late, MOST_LATE, desk.more_jobs_late),
    "piece_due": Kind(True, desk.piece_due),
    "piece_short": Kind(False, desk.piece_short),
    "piece_soon": Kind(False, desk.piece_soon),
    "plate": Kind(False, desk.plate),
}
ORDER: Final = {code: place for place, code in enumerate(KINDS)}
