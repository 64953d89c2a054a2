"""Opened figures as a reader with every right reads them, in mm."""

from __future__ import annotations

from dataclasses import dataclass

from planning import reports
from planning.reports.figure import Figure, Part
from shopfloor.wording.quantity import Reading, Right, evidence_said, remark_said, say

ALL = Reading(currency="USD", rights=frozenset(Right))
INCH = Reading(inch=True, currency="USD", rights=frozenset(Right))


@dataclass(frozen=True)
class SaidPart:
    label: str
    value: str
    evidence: str
    note: str
    kind: str
    id: str
    total: bool
    amount: float


@dataclass(frozen=True)
class SaidFigure:
    value: str
    evidence: str
    amount: float  # in the figure's own unit: minor units, seconds
    title: str
    rows: list[SaidPart]
    figure: Figure


def open_figure(*, kind, id) -> SaidFigure:
    found = reports.open_figure(kind=kind, id=id)
    return SaidFigure(
        say(found.quantity, ALL),
        evidence_said(found.quantity.evidence),
        found.quantity.number,
        found.label,
        [_part(part) for part in found.parts],
        found,
    )


def _part(part: Part) -> SaidPart:
    notes = ", ".join(said for note in part.notes if (said := remark_said(note, ALL)))
    kind, key = part.opens or ("", "")
    return SaidPart(
        part.label, say(part.quantity, ALL), evidence_said(part.quantity.evidence), notes, kind,
        key, part.total, part.quantity.number,
    )  # fmt: skip
