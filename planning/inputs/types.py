"""Rows of the shop and of intake as plain values. Instants are integer microseconds UTC."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from planning.calc.entered import Entry
from planning.calc.spans import Span
from planning.calc.spent import Burn
from planning.calc.variance import PlannedTimes


@dataclass(frozen=True, slots=True)
class SegmentIn:
    pk: int
    torch_id: int
    torch: str
    wear_set_id: int
    duty: str
    amps: float
    operator_id: int | None
    from_us: int
    to_us: int
    first_contour: int
    last_contour: int | None
    end_reason: str


@dataclass(frozen=True, slots=True)
class StopIn:
    from_us: int
    to_us: int
    crash: bool
    vouched: bool = True  # by a person; else only a pause in what was heard


@dataclass(frozen=True, slots=True)
class ArcIn:
    """An arc with what it was assigned to."""

    key: str
    torch: str
    on_us: int
    off_us: int
    ended: str
    pierces: int | None
    pierced_us: int | None
    amps: float | None
    volts: float | None
    segment_id: int
    contour: int | None
    repeat: bool

    @property
    def burn(self) -> Burn:
        return Burn(self.on_us, self.off_us, self.contour, self.repeat, self.pierced_us, self.torch)

    @property
    def us(self) -> int:
        return self.off_us - self.on_us


@dataclass(frozen=True, slots=True)
class ContourIn:
    number: int
    line_id: int | None
    part: str
    copy: int
    inner: bool
    cut_mm: float
    net_area_mm2: float | None
    pierces: int
    common: float
    parts: int = 1


@dataclass(frozen=True, slots=True)
class SheetIn:
    pk: int
    cost_minor: int | None
    customers: bool
    area_mm2: float
    remnants: tuple[tuple[float, int | None], ...]  # area, credit where stock says one
    burnt: tuple[tuple[uuid.UUID, float], ...]  # the runs that count on it, with net area


@dataclass(frozen=True, slots=True)
class ScrapIn:
    line_id: int
    quantity: int
    cause: str


@dataclass(frozen=True)
class RunIn:
    """All of one run that its figures are made from."""

    run_id: uuid.UUID
    revision_id: int
    table_id: int
    table_code: str
    state: str
    evidence: str
    opened_at: datetime
    shift_date: date
    sheet: SheetIn | None
    windows: tuple[Span, ...]
    segments: tuple[SegmentIn, ...]
    stoppages: tuple[StopIn, ...]
    silences: tuple[Span, ...]
    entries: tuple[Entry, ...]  # of its torches, for times its source was silent
    arcs: tuple[ArcIn, ...]
    plan: PlannedTimes | None
    plan_fields: dict[str, Any]
    contours: tuple[ContourIn, ...]
    scraps: tuple[ScrapIn, ...]

    @property
    def measured(self) -> bool:
        return bool(self.arcs) or self.evidence == "measured"

    @property
    def pierces_known(self) -> bool:
        """Whether the source of these arcs tells of pierces: of none it says nothing."""
        return bool(self.arcs) and all(arc.pierces is not None for arc in self.arcs)
