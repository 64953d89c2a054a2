"""What became of the parts of a sheet, as somebody counted them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.utils.translation import gettext as _

from shopfloor.actions.request import number_of
from shopfloor.errors import FloorError
from shopfloor.models import Run, RunState
from shopfloor.runs.part_counts import SheetPart, by_line, parts_of_run, run_counts
from shopfloor.runs.parts import Judged


def judged_parts(run: Run, payload: dict[str, Any], *, late: bool = False) -> list[Judged]:
    """The payload's counts, by line (`parts`) or by exception from all good (`exceptions`). What
    was counted before, while the sheet was still burning, is not counted again. `late`: a count
    beside that of the run, as one of a finished run is."""
    on_sheet = parts_of_run(run)
    counted: dict[int, int] = {}
    if run.state != RunState.FINISHED and not late:
        counted = {line: sum(counts.values()) for line, counts in run_counts(run).items()}
    if payload.get("parts") is not None:
        judged = _by_line(payload["parts"], on_sheet)
    elif payload.get("exceptions") is not None:
        judged = _by_exception(payload["exceptions"], on_sheet, counted)
    else:
        raise FloorError(_("How many are good?"), _("Count the parts, or tap those that are not."))
    _within_sheet(judged, on_sheet, counted)
    return judged


def _within_sheet(
    judged: Sequence[Judged], on_sheet: Sequence[SheetPart], counted: dict[int, int]
) -> None:
    for line in {part.line for part in judged}:
        total = counted.get(line, 0) + sum(one.quantity for one in judged if one.line == line)
        planned = by_line(on_sheet).get(line, 0)
        if total > planned:
            raise FloorError(
                _(
                    "{total} parts, those counted before among them, but the sheet holds {planned}."
                ).format(total=total, planned=planned),
                _("Count again."),
            )


def _by_line(parts: Any, on_sheet: Sequence[SheetPart]) -> list[Judged]:
    lines = {part.line for part in on_sheet}
    judged = []
    for part in _dicts(parts, "parts"):
        line = int(number_of(part, "line", whole=True) or 0)
        if line not in lines:
            raise FloorError(_("Line {line} is not on this nest.").format(line=line))
        cause = str(part.get("cause") or "").strip()
        counts = {
            outcome: int(number_of(part, outcome, whole=True) or 0)
            for outcome in ("good", "scrap", "rework")
        }
        for outcome, quantity in counts.items():
            judged.append(Judged(line, outcome, quantity, cause if outcome != "good" else ""))
    return judged


def _by_exception(
    exceptions: Any, on_sheet: Sequence[SheetPart], counted: dict[int, int]
) -> list[Judged]:
    owner = {number: part for part in on_sheet for number in part.contours}
    said: dict[SheetPart, Judged | None] = {}
    good = by_line(on_sheet)
    for exception in _dicts(exceptions, "exceptions"):
        contour = int(number_of(exception, "contour", whole=True) or 0)
        part = owner.get(contour)
        if part is None:
            raise FloorError(
                _("Contour {contour} belongs to no ordered part.").format(contour=contour)
            )
        outcome = str(exception.get("outcome") or "scrap")
        if outcome not in ("scrap", "rework", "not_cut"):
            raise FloorError(
                _("{outcome!r} is none of scrap, rework, not_cut.").format(outcome=outcome)
            )
        cause = str(exception.get("cause") or "").strip()
        some = part.quantity
        said[part] = (
            None if outcome == "not_cut" else Judged(part.line, outcome, some, cause, contour)
        )
    for part in said:
        good[part.line] -= part.quantity
    judged = [
        Judged(line, "good", max(quantity - counted.get(line, 0), 0))
        for line, quantity in good.items()
        if quantity
    ]
    return judged + [entry for entry in said.values() if entry is not None]


def _dicts(values: Any, name: str) -> list[dict[str, Any]]:
    if not isinstance(values, list) or not all(isinstance(value, dict) for value in values):
        raise FloorError(_("{name} is not a list of entries.").format(name=name))
    return values
