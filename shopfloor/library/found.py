"""Shapes that a nest's or a drawing's revision holds, as recognition takes them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.translation import gettext as _

from planning.calc.alike import Outline, outline_of
from shopfloor.models import Contour, DrawingRevision, NestRevision
from shopfloor.nests.part_groups import Group, loop_of
from shopfloor.nests.part_lines import revision_groups


@dataclass(frozen=True, slots=True)
class Use:
    """Copies that are for one job line. `mirrored` of them are turned over against the first."""

    line_id: int | None
    contour: int
    copies: int
    mirrored: int
    share: float
    of_nest: float


@dataclass(frozen=True, slots=True)
class Found:
    """A shape, what it is called there, and its copies. `rank` says how good the name is: 0 after
    a nest, 1 after a job line, 2 after a drawing."""

    outline: Outline
    name: str
    rank: int
    drawn: bool
    uses: tuple[Use, ...]


def nest_parts(revision: NestRevision) -> list[Found]:
    """One entry a shape of the revision; what encloses no area is left out. Marks are no part of a
    shape: a program may leave out what its drawing has. But a marked part has a face, so copies
    that are turned over are apart."""
    contours = list(revision.contours.select_related("line").order_by("number"))
    by_number = {contour.number: contour for contour in contours}
    sums: dict[int | None, float] = defaultdict(float)
    for contour in contours:
        sums[contour.line_id] += contour.cut_mm * contour.common_share
    found = []
    for group in revision_groups(contours):
        for parts, made in _faces(group, by_number):
            outline = _outline(parts[0], by_number, revision.step_mm)
            if outline is not None:
                uses = tuple(_uses(parts, made, group.mirrored, by_number, sums))
                line = by_number[parts[0][0]].line
                name = line.part if line else _("{nest}, shape {label}").format(
                    nest=revision.nest.name, label=parts[0][0]
                )  # fmt: skip
                found.append(Found(outline, name, int(line is not None), False, uses))
    return found


Parts = list[tuple[int, ...]]


def _faces(group: Group, by_number: dict[int, Contour]) -> Iterator[tuple[Parts, list[int]]]:
    """The group's parts with how many each makes; in two where it has a face and some lie on it."""
    pairs = list(zip(group.parts, group.made, strict=True))
    marked = any(_marks(by_number[number]) for number in group.parts[0])
    sides = (False, True) if marked and group.mirrored else (None,)
    for side in sides:
        own = [pair for pair in pairs if side is None or (pair[0][0] in group.mirrored) == side]
        if own:
            yield [parts for parts, _ in own], [made for _, made in own]


def _marks(contour: Contour) -> bool:
    return contour.pierces == 0


def _outline(
    numbers: tuple[int, ...], by_number: dict[int, Contour], step_mm: float
) -> Outline | None:
    home, *inner = (by_number[number] for number in numbers)
    if home.net_area_mm2 is None:
        return None
    rings: list[Any] = [home.faces[0] if home.faces else _loop(home)]
    lines: list[Any] = []
    marked = False
    for contour in inner:
        if contour.closed and contour.number not in home.edges:
            rings.append(_loop(contour))
        elif _marks(contour):
            marked = True
        elif contour.number not in home.edges:
            lines.append(contour.points)
    return outline_of(rings, lines, marked=marked, step_mm=step_mm)


def _loop(contour: Contour) -> list[Any]:
    return loop_of(contour.points, contour.lead_in_mm, contour.lead_out_mm)


def _uses(
    parts: Parts, made: Sequence[int], mirrored: frozenset[int], by_number: dict[int, Contour],
    sums: dict[int | None, float],
) -> Iterator[Use]:  # fmt: skip
    whole = sum(sums.values())
    lines: dict[int | None, list[int]] = defaultdict(list)
    for index, numbers in enumerate(parts):
        lines[by_number[numbers[0]].line_id].append(index)
    for line_id, own in lines.items():
        mm = sum(
            by_number[number].cut_mm * by_number[number].common_share
            for index in own
            for number in parts[index]
        )
        yield Use(
            line_id,
            parts[own[0]][0],
            sum(made[index] for index in own),
            sum(made[index] for index in own if parts[index][0] in mirrored),
            mm / sums[line_id] if sums[line_id] else 0.0,
            mm / whole if whole else 0.0,
        )


def drawing_parts(revision: DrawingRevision) -> list[Found]:
    """One entry a piece of the drawing. It is named after the drawing where it is the only one."""
    cut = [row for row in revision.contours if row["role"] == "cut"]
    marks = [row for row in revision.contours if row["role"] == "mark"]
    homes = [row for row in cut if row["kind"] in ("outer", "island")]
    found = []
    for home in homes:
        inside = [row for row in cut if row["inside"] == home["number"]]
        rings = [home["points"], *(row["points"] for row in inside if row["kind"] == "hole")]
        open_ = [row["points"] for row in inside if row["kind"] == "open"]
        marked = bool(marks) and len(homes) == 1
        outline = outline_of(rings, open_, marked=marked, step_mm=0.01)
        if outline is None:
            continue
        name = revision.drawing.name
        if len(homes) > 1:
            name = _("{drawing}, contour {number}").format(drawing=name, number=home["number"])
        use = Use(None, home["number"], 1, 0, 0.0, 0.0)
        found.append(Found(outline, name, 2 if len(homes) == 1 else 0, True, (use,)))
    return found
