"""What pages show of drawings."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, F, OuterRef, Q, QuerySet, Subquery, Value
from django.utils.translation import gettext as _

from planning.calc import drawing as calc
from shopfloor.chart.fit import PlateFit, plates_fitting
from shopfloor.models import (
    Drawing,
    DrawingPlan,
    DrawingRevision,
    Job,
    JobLine,
    JobState,
    Material,
)
from shopfloor.svg.parts_map import Part, Svg, parts_map
from shopfloor.wording.names import first_named


def weight_kg(area_mm2: float | None, thickness_mm: float, density_kg_m3: float) -> float | None:
    """Net area x thickness x the material's density; about 1 % (mill tolerance)."""
    return None if area_mm2 is None else area_mm2 * thickness_mm * density_kg_m3 * 1e-9


def drawings_list(text: str = "") -> QuerySet[Drawing]:
    """Drawings with their newest revision's figures; its faults are in `notes`."""
    newest = DrawingRevision.objects.filter(drawing=OuterRef("pk")).order_by("-revision")
    rows = Drawing.objects.select_related("material").annotate(
        revision=Subquery(newest.values("revision")[:1]),
        cut_mm=Subquery(newest.values("cut_mm")[:1]),
        pierces=Subquery(newest.values("pierces")[:1]),
        read_at=Subquery(newest.values("made_at")[:1]),
        net_area_mm2=Subquery(newest.values("net_area_mm2")[:1]),
        line_count=Count("lines"),
        weight_kg=F("net_area_mm2") * F("thickness_mm") * F("material__density_kg_m3") * 1e-9,
    )
    if text:
        rows = rows.filter(
            Q(name__icontains=text) | Q(pk__in=JobLine.objects.filter(
                Q(part__icontains=text) | Q(job__number__icontains=text)).values("drawing"))
        )  # fmt: skip
    return rows.order_by("name")


def newest_drawing(drawing: Drawing) -> DrawingRevision | None:
    return drawing.revisions.select_related("made_by").order_by("-revision").first()


def drawing_plans(revision: DrawingRevision) -> list[DrawingPlan]:
    return list(
        DrawingPlan.objects.filter(revision=revision)
        .select_related("table", "wear_set")
        .order_by("table__name", "wear_set__code")
    )


SMALL_PX = 150, 110  # no wider and no higher
LEAST_PX = 20
SMALL_POINTS = 1_500  # of one small map


def small_map(read: calc.Drawing | None) -> Svg | None:
    """A drawing as read, small and without numbers; None where there is none."""
    if read is None:
        return None
    wide, high = read.size_mm
    if wide < high / 1000:  # a line straight up has no width to draw to
        return None
    width, height = SMALL_PX
    contours = [*read.contours, *read.marks]
    every = max(1, sum(len(each.points) for each in contours) // SMALL_POINTS)
    rows = [
        {
            "number": each.number, "role": each.role, "kind": each.kind, "inside": each.inside,
            "points": [*each.points[:-1:every].tolist(), each.points[-1].tolist()],
        }
        for each in contours
    ]  # fmt: skip
    fitting = min(width, round(height * wide / high)) if high else width
    return drawing_map(rows, max(fitting, LEAST_PX), numbered=False)


def drawing_map(
    contours: Sequence[Mapping[str, Any]], width: int = 860, *, numbered: bool = True
) -> Svg | None:
    """The contours to scale: pieces with their holes, open lines as lines, marking thin."""
    holes: dict[int, list[Mapping[str, Any]]] = {}
    cut = [each for each in contours if each["role"] == "cut"]
    for each in cut:
        if each["kind"] == "hole" and each["inside"] is not None:
            holes.setdefault(each["inside"], []).append(each)
    marks = tuple(_points(each) for each in contours if each["role"] == "mark")
    parts = [
        Part(
            str(each["number"]),
            tuple(_points(one) for one in (each, *holes.get(each["number"], ()))),
            name="open line" if each["kind"] == "open" else "",
        )
        for each in cut
        if each["kind"] != "hole"
    ]
    if not parts and marks:
        parts, marks = [Part("", marks, name="marking")], ()
    if not parts:
        return None
    if marks:
        first = parts[0]
        parts[0] = Part(first.number, first.contours, name=first.name, leads=marks)
    if not numbered:
        return parts_map(parts, width=width, least_px=math.inf)
    return parts_map(parts, width=width, font_px=15)


def _points(contour: Mapping[str, Any]) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in contour["points"])


@dataclass(frozen=True, slots=True)
class Layered:
    """A layer as a table row: entities in words."""

    name: str
    role: str
    why: str
    entities: str
    length_mm: float


def layer_words(layers: Iterable[Mapping[str, Any]]) -> list[Layered]:
    return [
        Layered(
            each["name"], each["role"], each["why"],
            ", ".join(f"{count} {kind}" for kind, count in each["counts"].items()),
            each["length_mm"],
        )
        for each in layers
    ]  # fmt: skip


@dataclass(frozen=True, slots=True)
class LineDrawn:
    """What a job line's drawing says of one part and of all of them."""

    line: JobLine
    revision: DrawingRevision
    part_kg: float | None

    @property
    def all_kg(self) -> float | None:
        return None if self.part_kg is None else self.part_kg * self.line.quantity

    @property
    def all_cut_mm(self) -> float:
        return self.revision.cut_mm * self.line.quantity

    @property
    def all_pierces(self) -> int:
        return self.revision.pierces * self.line.quantity


def lines_drawn(job: Job) -> list[LineDrawn]:
    """Lines of a job that have a drawing, with its newest revision."""
    lines = list(job.lines.filter(drawing__isnull=False).select_related("material", "drawing"))
    newest: dict[int, DrawingRevision] = {}
    for revision in DrawingRevision.objects.filter(
        drawing__in={line.drawing_id for line in lines}
    ).defer("contours", "notes", "layers").order_by("revision"):  # fmt: skip
        newest[revision.drawing_id] = revision
    found = []
    for line in lines:
        revision = newest[line.drawing_id or 0]
        material: Material = line.material
        kg = weight_kg(revision.net_area_mm2, line.thickness_mm, material.density_kg_m3)
        found.append(LineDrawn(line, revision, kg))
    return found


def lines_to_draw(drawing: Drawing) -> QuerySet[JobLine]:
    """Lines a drawing may be of: open or held jobs, its material, about its thickness."""
    return (
        JobLine.objects.filter(
            plates_fitting(drawing.material_id, drawing.thickness_mm, PlateFit.NEAR),
            job__state__in=(JobState.OPEN, JobState.HELD),
        )
        .exclude(drawing=drawing)
        .select_related("job")
        .order_by("job__number", "number")
    )


def drawings_to_choose(most: int = 200) -> list[tuple[str, str]]:
    """Routes a part of a drawing has: "drawing-table-set" and words, newest drawings first."""
    return [_route(row) for row in _routes()[:most]]


@dataclass(frozen=True, slots=True)
class PartToQuote:
    """A drawing of which `quantity` are wanted; routes by "table-set" and words, the fastest
    first, none while it is not planned."""

    drawing: Drawing
    revision: DrawingRevision
    quantity: int
    routes: tuple[tuple[str, str], ...]
    kg: float | None

    @property
    def size_mm(self) -> tuple[float, float]:
        x_min, y_min, x_max, y_max = self.revision.extents_mm
        return x_max - x_min, y_max - y_min


def parts_to_quote(wanted: Mapping[int, int]) -> list[PartToQuote]:
    """By drawing, in the order asked for; what is no drawing any more is left out."""
    newest = {
        row.drawing_id: row
        for row in DrawingRevision.objects.filter(drawing__in=wanted)
        .select_related("drawing__material")
        .defer("contours", "notes", "layers")
        .order_by("revision")
    }
    routes: dict[int, list[tuple[str, str]]] = {}
    for plan in (
        DrawingPlan.objects.filter(revision__in=[row.pk for row in newest.values()], problem="")
        .select_related("table", "wear_set").defer("snapshot").order_by("total_s", "pk")
    ):  # fmt: skip
        words = _("{wear_set} on {table}").format(wear_set=plan.wear_set, table=plan.table.name)
        routes.setdefault(plan.revision_id, []).append(
            (f"{plan.table_id}-{plan.wear_set_id}", words)
        )
    return [
        PartToQuote(
            row.drawing, row, quantity, tuple(routes.get(row.pk, ())),
            weight_kg(row.net_area_mm2, row.drawing.thickness_mm,
                      row.drawing.material.density_kg_m3),
        )
        for pk, quantity in wanted.items()
        if (row := newest.get(pk)) is not None
    ]  # fmt: skip


def drawing_chosen(text: str) -> str | None:
    """The route "drawing-table-set" of these words, however old its drawing is; of a drawing's name
    alone the fastest."""
    text = text.strip()
    named = Drawing.objects.annotate(typed=Value(text)).filter(typed__istartswith=F("name"))
    found = [_route(row) for row in _routes().filter(revision__drawing__in=named)]
    exact = next((route for route, words in found if words == text), None)
    if exact is not None:
        return exact
    alone = first_named(named, "name", text)
    if alone is None:
        return None
    return next((route for route, _ in found if route.startswith(f"{alone.pk}-")), None)


def _routes() -> QuerySet[DrawingPlan]:
    newest = DrawingRevision.objects.filter(drawing=OuterRef("revision__drawing")).order_by(
        "-revision"
    )
    return (
        DrawingPlan.objects.filter(revision=Subquery(newest.values("pk")[:1]), problem="")
        .select_related("revision__drawing__material", "table", "wear_set")
        .defer("revision__contours", "revision__notes", "revision__layers", "snapshot")
        .order_by("-revision__drawing__made_at", "total_s", "pk")
    )


def _route(row: DrawingPlan) -> tuple[str, str]:
    drawing = row.revision.drawing
    return (
        f"{row.revision.drawing_id}-{row.table_id}-{row.wear_set_id}",
        _("{drawing}, {thickness_text} {material}: {wear_set} on {table}").format(
            drawing=drawing.name,
            thickness_text=drawing.thickness_text,
            material=drawing.material.code,
            wear_set=row.wear_set,
            table=row.table.name,
        ),
    )
