"""Which job line each part of a nest is for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from shopfloor.background.request import request_work
from shopfloor.models import Contour, JobLine, NestRevision
from shopfloor.nests.part_groups import Group, Shape, groups_of, loop_of


def revision_groups(contours: Sequence[Contour]) -> list[Group]:
    """The parts of a revision as groups of copies, whatever they are tied to."""
    outline = {
        (contour.line_id, contour.part, contour.copy): contour.number
        for contour in contours
        if not contour.inner
    }
    return groups_of(
        Shape(
            contour.number,
            outline.get((contour.line_id, contour.part, contour.copy), contour.number),
            contour.cut_mm,
            contour.net_area_mm2,
            loop_of(contour.points, contour.lead_in_mm, contour.lead_out_mm),
            contour.lead_in_mm + contour.lead_out_mm,
        )
        for contour in contours
    )


Ties = Mapping[str, Sequence[tuple[JobLine | None, int | None]]]


@transaction.atomic
def assign_parts_to_lines(*, revision: NestRevision, ties: Ties) -> None:
    """Says which job line each group's copies are for. `ties` maps a group's label to (line,
    how many copies; None: all that are left), in cut order; copies left over belong to no job.
    Copies are numbered through a line, whichever group they are in."""
    contours = {contour.number: contour for contour in revision.contours.all()}
    counted: dict[str, int] = {}
    for group in revision_groups(list(contours.values())):
        wanted = ties.get(group.label, ())
        lines = _spread(wanted, len(group.parts))
        for part, line in zip(group.parts, lines, strict=True):
            name = line.part if line else _("shape {group}").format(group=group.label)
            key = f"line {line.pk}" if line else name
            counted[key] = counted.get(key, 0) + 1
            for number in part:
                contour = contours[number]
                contour.line, contour.part, contour.copy = line, name, counted[key]
    Contour.objects.bulk_update(contours.values(), ["line", "part", "copy"], batch_size=500)
    request_work(kind="nest", key=str(revision.pk))


def _spread(
    wanted: Sequence[tuple[JobLine | None, int | None]], copies: int
) -> list[JobLine | None]:
    lines: list[JobLine | None] = []
    for line, count in wanted:
        left = copies - len(lines)
        if count is not None and count > left:
            raise ValidationError(
                _("There are {copies} copies, not {count}.").format(
                    copies=copies, count=len(lines) + count
                )
            )
        lines += [line] * (left if count is None else count)
    return lines + [None] * (copies - len(lines))
