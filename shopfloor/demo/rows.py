"""What the demo's simulation hands over. Times are seconds since 1970, UTC."""

from __future__ import annotations

from dataclasses import dataclass, field

from shopfloor.demo.catalogue import Order

ORDERS_A_TROUBLE = 6


@dataclass(frozen=True, slots=True)
class Expected:
    """A design's plan on one table, contour by contour, in seconds."""

    arcs_s: tuple[float, ...]
    pierce_s: float
    before_s: tuple[float, ...]  # travel and touch-off before each


@dataclass
class Lot:
    """One nest of an order, to be burnt on so many sheets by one table."""

    order: Order
    position: int  # of the design within the order
    design: int
    sheets: int
    table: str
    done: int = 0
    guest: Order | None = None  # an order whose parts lie on the same sheets, the design's last

    @property
    def trouble(self) -> bool:
        """Whether it was one of those that go badly: nearly every sheet of it stood still."""
        return self.order.number % ORDERS_A_TROUBLE == 0

    @property
    def numbers(self) -> tuple[int, ...]:
        """Of the orders it is cut for."""
        return (self.order.number, *([self.guest.number] if self.guest else []))


@dataclass(slots=True)
class Arc:
    on: float
    off: float
    pierced: bool
    pierce_s: float = 0.0  # from arc on until through


@dataclass(slots=True)
class SegmentRow:
    operator: str
    started: float
    ended: float | None
    first: int
    last: int | None
    reason: str


@dataclass(slots=True)
class RunRow:
    lot: Lot
    sheet: int
    opened: float
    closed: float | None = None
    segments: list[SegmentRow] = field(default_factory=list)
    arcs: list[Arc] = field(default_factory=list)
    scrap: list[tuple[int, str]] = field(default_factory=list)  # contour, cause
    rework: int = 0  # parts whose holes came out tight
    forgotten: bool = False  # nobody pressed start: its arcs belong to no run
    check_u: float | None = None
    contours_done: int = 0


@dataclass(slots=True)
class StopRow:
    table: str
    run: RunRow | None
    reason: str  # blank: nobody said
    started: float
    ended: float
    by: str


@dataclass(slots=True)
class FitRow:
    table: str
    fitted: float
    by: str
    removed: float | None = None
    state: str = ""
    cause: str = ""


@dataclass(slots=True)
class PieceRow:
    label: str
    set: str
    kind: str
    starts: int = 0
    life: float = 0.0
    state: str = "new"
    fits: list[FitRow] = field(default_factory=list)
    seen: list[tuple[float, float, str]] = field(default_factory=list)  # at, pit mm, by


@dataclass
class History:
    runs: list[RunRow] = field(default_factory=list)
    stops: list[StopRow] = field(default_factory=list)
    pieces: list[PieceRow] = field(default_factory=list)
    lots: list[Lot] = field(default_factory=list)
    silent: list[tuple[str, float, float]] = field(default_factory=list)  # table, from, to
    shift_ends: dict[str, float] = field(default_factory=dict)  # of the one under way, by table
