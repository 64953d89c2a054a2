"""Whole sheets against what the lists want, by material and thickness."""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass, field

from django.db.models import Count, Exists, OuterRef, Q

from shopfloor.chart.fit import PlateFit, fit
from shopfloor.models import (
    Contour,
    JobState,
    Material,
    Nest,
    QueueItem,
    Run,
    RunState,
    Sheet,
    SheetState,
)
from shopfloor.nests.waiting import waiting_items


@dataclass(slots=True)
class Plate:
    """One material and thickness. `free` are the shop's sheets in stock that nothing is promised,
    `listed` nests on lists that choose their sheet at the table, `ahead` sheets nests still want
    that are on no list; `nests` are those that go without where it is short."""

    material: Material
    thickness_mm: float
    thickness_text: str
    sheets: int = 0
    promised: int = 0
    remnants: int = 0
    listed: int = 0
    ahead: int = 0
    nests: list[str] = field(default_factory=list)
    # What the counts are of, to open them.
    stock: list[Sheet] = field(default_factory=list)
    kept: dict[int, str] = field(default_factory=dict)  # sheet id: the nest it is promised to
    waiting: list[QueueItem] = field(default_factory=list)
    wanted: list[tuple[Nest, int]] = field(default_factory=list)

    @property
    def key(self) -> str:
        """Its thickness in an address."""
        return _key(self.thickness_mm)

    @property
    def free(self) -> int:
        return self.sheets - self.promised

    @property
    def short(self) -> int:
        """Sheets the lists want and the stock has not."""
        return max(0, self.listed - self.free)

    @property
    def short_ahead(self) -> int:
        return max(0, self.listed + self.ahead - self.free)


def _key(thickness_mm: float) -> str:
    return f"{thickness_mm:.4f}"


def plates() -> list[Plate]:
    """Every material and thickness in stock or wanted, the shortest first; six queries. Thickness
    counts as the same within what a nest accepts."""
    found: dict[int, list[Plate]] = defaultdict(list)
    _stock(found)
    _listed(found)
    _ahead(found)
    return _shortest_first(found)


def _shortest_first(found: dict[int, list[Plate]]) -> list[Plate]:
    rows = [plate for own in found.values() for plate in own]
    return sorted(
        rows,
        key=lambda one: (-one.short, -one.short_ahead, one.material.code, one.thickness_mm),
    )


def plate_of(material: int, thickness_mm: float) -> Plate | None:
    """One of `plates`, by what it was found under."""
    near = (one for one in plates() if one.material.pk == material)
    found = next((one for one in near if one.key == _key(thickness_mm)), None)
    if found is not None:
        found.stock.sort(key=lambda sheet: sheet.parent_id is not None)  # what counts first
    return found


def plates_short() -> list[Plate]:
    """Of `plates` those the lists want and the stock has not; two small reads where none is."""
    return [plate for plate in plates() if plate.short] if _any_short() else []


def _any_short() -> bool:
    """Whether the lists want more of any plate than the stock has, from counts alone. Thickness
    gathers in the order of `plates`, remnants and promised sheets among it: what is near to one
    need not be near to the next."""
    promised = QueueItem.objects.filter(sheet=OuterRef("pk"), state__in=("waiting", "running"))
    free = Count("pk", filter=Q(parent=None) & ~Q(Exists(promised)))
    sheets = Sheet.objects.filter(state=SheetState.IN_STOCK, owner=None).order_by("-thickness_mm")
    found: dict[int, list[list[float]]] = defaultdict(list)  # by material: thickness, sheets free
    stock = sheets.values_list("material", "thickness_mm").annotate(free=free)
    for material, mm, count in stock:
        _counted(found[material], mm)[1] += count
    listed = waiting_items().filter(sheet=None).order_by("table", "position")
    for material, mm in listed.values_list("nest__material", "nest__thickness_mm"):
        _counted(found[material], mm)[1] -= 1
    return any(left < 0 for own in found.values() for _, left in own)


def _counted(own: list[list[float]], mm: float) -> list[float]:
    same = next((one for one in own if _same_plate(one[0], mm)), None)
    if same is None:
        own.append(same := [mm, 0])
    return same


def _plate(found: dict[int, list[Plate]], material: Material, mm: float, text: str) -> Plate:
    for plate in found[material.pk]:
        if _same_plate(plate.thickness_mm, mm):
            return plate
    made = Plate(material, mm, text)
    found[material.pk].append(made)
    return made


def _same_plate(one_mm: float, other_mm: float) -> bool:
    return fit(one_mm, other_mm) >= PlateFit.NEAR


def _stock(found: dict[int, list[Plate]]) -> None:
    rows = QueueItem.objects.filter(state__in=("waiting", "running"), sheet__isnull=False)
    promised = dict(rows.values_list("sheet", "nest__name"))
    sheets = Sheet.objects.filter(state=SheetState.IN_STOCK, owner=None).select_related("material")
    for sheet in sheets.order_by("-thickness_mm", "pk"):
        plate = _plate(found, sheet.material, sheet.thickness_mm, sheet.thickness_text)
        plate.stock.append(sheet)
        if sheet.parent_id is not None:
            plate.remnants += 1
            continue
        plate.sheets += 1
        if sheet.pk in promised:
            plate.promised += 1
            plate.kept[sheet.pk] = promised[sheet.pk]


def _listed(found: dict[int, list[Plate]]) -> None:
    """Nests that wait without a sheet of their own: they will take a whole one."""
    rows = waiting_items().filter(sheet=None).select_related("nest__material", "table")
    for item in rows.order_by("table", "position"):
        nest = item.nest
        plate = _plate(found, nest.material, nest.thickness_mm, nest.thickness_text)
        plate.listed += 1
        plate.waiting.append(item)
        if plate.listed > plate.free:
            plate.nests.append(nest.name)


def _ahead(found: dict[int, list[Plate]]) -> None:
    for nest, left in sheets_ahead():
        plate = _plate(found, nest.material, nest.thickness_mm, nest.thickness_text)
        plate.ahead += left
        plate.wanted.append((nest, left))


def sheets_ahead() -> list[tuple[Nest, int]]:
    """Sheets that nests of open jobs still want and no list has: wanted less burnt, being burnt
    and listed."""
    open_lines = Contour.objects.filter(line__job__state=JobState.OPEN)
    nests = list(
        Nest.objects.filter(
            withdrawn_at=None, pk__in=open_lines.order_by().values("revision__nest")
        ).select_related("material")
    )
    burnt, waits = _burnt(nests), _waits()
    left = [
        (nest, nest.sheets_wanted - burnt.get(nest.pk, 0) - waits.get(nest.pk, 0)) for nest in nests
    ]
    return [(nest, sheets) for nest, sheets in left if sheets > 0]


def _burnt(nests: list[Nest]) -> dict[int, int]:
    runs = Run.objects.filter(revision__nest__in=nests).exclude(state=RunState.VOIDED)
    return dict(runs.order_by().values_list("revision__nest").annotate(Count("pk")))


def _waits() -> dict[int, int]:
    return Counter(waiting_items().order_by().values_list("nest", flat=True))
