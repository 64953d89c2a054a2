"""What a terminal shows of a table, as plain values. No money in any of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from uuid import UUID


@dataclass(frozen=True, slots=True)
class FloorPiece:
    """`due` blank, figures None: nothing was computed yet. `computed_at` is the outlook's age."""

    label: str
    kind: str
    due: str
    starts: int | None
    starts_left: int | None
    pit_mm: float | None
    pit_limit_mm: float
    computed_at: datetime | None


@dataclass(frozen=True, slots=True)
class FloorTorch:
    code: str
    set: str | None
    pieces: tuple[FloorPiece, ...]


@dataclass(frozen=True, slots=True)
class FloorLine:
    id: int
    job: str
    number: int
    part: str
    on_sheet: int
    ordered: int
    good: int
    shortage: int


@dataclass(frozen=True, slots=True)
class FloorRun:
    """`contour_now` is the one burning or burnt last; `left_s` what the plan still holds."""

    id: UUID
    nest: str
    revision: int
    nest_set: str
    sheet: str | None
    heat: str | None
    state: str
    opened_at: datetime
    operator: str | None
    arcs_done: int
    contours_done: int
    contours_planned: int
    contour_now: int | None
    last_arc_at: datetime | None
    planned_s: float | None
    left_s: float | None
    end_assumed: bool
    lines: tuple[FloorLine, ...]


@dataclass(frozen=True, slots=True)
class FloorStoppage:
    id: int
    reason: str | None
    started_at: datetime
    ended_at: datetime | None
    evidence: str


@dataclass(frozen=True, slots=True)
class FloorQueueItem:
    """`set_change`: the set fitted now (or that of the nest before it) is not this nest's."""

    id: int
    nest: str
    revision_id: int | None
    set: str
    sheet: str | None
    material: str
    thickness: str
    due_at: datetime | None
    planned_s: float | None
    set_change: bool | None


@dataclass(frozen=True, slots=True)
class FloorTable:
    """`burning` None: no source tells. `set_right` None: nothing runs, or what is fitted is not
    known."""

    table: str
    torches: tuple[FloorTorch, ...]
    run: FloorRun | None
    set_right: bool | None
    stoppage: FloorStoppage | None
    reasons_wanted: tuple[FloorStoppage, ...]
    queue: tuple[FloorQueueItem, ...]
    first_piece_needed: bool
    people: tuple[str, ...]
    burning: bool | None
    last_arc_at: datetime | None


@dataclass(frozen=True, slots=True)
class FloorContour:
    """`state`: done, burning, again (only failed or repeated arcs so far), not_yet."""

    number: int
    part: str
    line_id: int | None
    copy: int
    inner: bool
    points: list[list[float]]
    state: str
    arcs: int
