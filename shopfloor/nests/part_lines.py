"""Which job line each part of a nest is for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from django.core.exceptions import ValidationError
from django.db import transaction
from django.utils.translation import gettext as _

from shopfloor.background.request import request_work
from shopfloor.models import Contour, JobLine, NestRevision
from shopfloor.nests.part_groups import Group, groups_of, shape_of_contour


def revision_groups(contours: Sequence[Contour]) -> list[Group]:
    """The parts of a revision as groups of copies, whatever they are tied to."""
    outline = {
        (contour.line_id, contour.part, contour.copy): contour.number
        for contour in contours
        if not contour.inner
    }
    return groups_of(
        shape_of_contour(
            contour,
            outline.get((contour.line_id, contour.part, contour.copy), contour.number),
            contour.cut_mm,
            contour.points,
            contour.faces,
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
        lines = _spread(wanted, group)
        for part, made, line in zip(group.parts, group.made, lines, strict=True):
            name = line.part if line else _("shape {group}").format(group=group.label)
            key = f"line:{line.pk}" if line else name
            copy = counted.get(key, 0) + 1
            counted[key] = counted.get(key, 0) + made
            for number in part:
                contour = contours[number]
                contour.line, contour.part, contour.copy = line, name, copy
    Contour.objects.bulk_update(contours.values(), ["line", "part", "copy"], batch_size=500)
    request_work(kind="nest", key=str(revision.pk))
    request_work(kind="parts", key=f"nest:{revision.pk}")


def _spread(
    wanted: Sequence[tuple[JobLine | None, int | None]], group: Group
) -> list[JobLine | None]:
    """A line for each entry of the group's parts, in order."""
    lines: list[JobLine | None] = []
    for line, count in wanted:
        left = sum(group.made[len(lines) :])
        if count is not None and count > left:
            raise ValidationError(
                _("There are {copies} copies, not {count}.").format(
                    copies=group.copies, count=group.copies - left + count
                )
            )
        count = left if count is None else count
        while count > 0:
            made = group.made[len(lines)]
            if made > count:
                raise ValidationError(
                    _("Contour {number} cuts {made} of these at once: they go to one line.").format(
                        number=group.parts[len(lines)][0], made=made
                    )
                )
            lines.append(line)
            count -= made
    return lines + [None] * (len(group.parts) - len(lines))
