"""The invented shop's one drawing: a bracket it is often asked for, drawn here and nowhere else."""

from __future__ import annotations

from collections.abc import Iterator

from planning.calc.drawing import Reading
from shopfloor.demo import shapes as p
from shopfloor.drawings.services import drawing_add
from shopfloor.models import Drawing, JobLine, JobState, Material, User

PART = p.bracket(220, 200, 13)
MATERIAL, THICKNESS = "A36", "6 mm"
BEND = ((0.0, 110.0), (88.0, 110.0))  # where the brake folds its upright leg: marked, not cut


def drawings(*, by: User) -> Drawing:
    """Reads it in as a person would, and gives it to the open lines that ask for the part."""
    made = drawing_add(
        name=f"{PART.name} {PART.width:g} x {PART.height:g}",
        file_name="bracket.dxf",
        raw=dxf(PART),
        material=Material.objects.get(code=MATERIAL),
        thickness_text=THICKNESS,
        reading=Reading(),
        by=by,
    )
    lines = JobLine.objects.filter(
        part=made.name, material=made.material, thickness_mm=made.thickness_mm
    )
    lines.exclude(job__state=JobState.CLOSED).update(drawing=made)
    return made


def dxf(part: p.Shape) -> bytes:
    """The part in millimetres as lines and circles, with its bend as a mark."""
    groups = [
        *_section("HEADER", ["9", "$ACADVER", "1", "AC1009", "9", "$INSUNITS", "70", "4"]),
        *_section(
            "ENTITIES",
            [
                *_outline(part.outline),
                *(group for inner in part.inner for group in _outline(inner)),
                *(group for circle in part.circles for group in _circle(*circle)),
                *_line("MARK", *BEND),
            ],
        ),
        "0", "EOF",
    ]  # fmt: skip
    return ("\n".join(groups) + "\n").encode("ascii")


def _section(name: str, groups: list[str]) -> list[str]:
    return ["0", "SECTION", "2", name, *groups, "0", "ENDSEC"]


def _outline(points: tuple[p.Point, ...]) -> Iterator[str]:
    for begin, end in zip(points, (*points[1:], *points[:1]), strict=True):
        yield from _line("CUT", begin, end)


def _line(layer: str, begin: p.Point, end: p.Point) -> list[str]:
    ends = ("10", begin[0]), ("20", begin[1]), ("11", end[0]), ("21", end[1])
    return ["0", "LINE", "8", layer, *(word for code, at in ends for word in (code, f"{at:g}"))]


def _circle(x: float, y: float, diameter: float) -> Iterator[str]:
    yield from ("0", "CIRCLE", "8", "CUT", "10", f"{x:g}", "20", f"{y:g}", "40")
    yield f"{diameter / 2:g}"
