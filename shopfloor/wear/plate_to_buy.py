"""Plate beside the wear parts on the purchase list."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime

from django.db.models import Min

from shopfloor.models import Contour, JobState, Material, Nest
from shopfloor.nests.plate_needed import Plate, plates
from shopfloor.stock.plate_fit import size_words


@dataclass(frozen=True, slots=True)
class PlateToBuy:
    """`sheets` that nests on lists and of open jobs want and the stock has not. `size`: the sizes
    those nests are laid out on, "" where none says. `need_by`: when the first of them is due."""

    material: Material
    thickness_text: str
    sheets: int
    size: str
    need_by: datetime | None
    nests: list[str]


def plates_to_buy(*, inch: bool) -> list[PlateToBuy]:
    """The shortest first; one query beside those of `plates`."""
    short = [plate for plate in plates() if plate.short_ahead]
    nests = {nest.pk: nest for plate in short for nest in _nests(plate)}
    due = jobs_due(nests)
    return [_row(plate, due, inch) for plate in short]


def _nests(plate: Plate) -> list[Nest]:
    return [*(item.nest for item in plate.waiting), *(nest for nest, _ in plate.wanted)]


def jobs_due(nests: Collection[int]) -> dict[int, datetime]:
    """By nest, when the first open job that needs parts of it is due."""
    rows = Contour.objects.filter(
        revision__nest__in=nests, line__job__state=JobState.OPEN, line__job__due_at__isnull=False
    ).order_by()
    found = rows.values_list("revision__nest").annotate(Min("line__job__due_at"))
    return dict(found)


def _row(plate: Plate, due: dict[int, datetime], inch: bool) -> PlateToBuy:
    nests = _nests(plate)
    dates = [item.due_at for item in plate.waiting if item.due_at is not None]
    dates += [due[nest.pk] for nest in nests if nest.pk in due]
    sizes = dict.fromkeys(
        size_words(nest.sheet_length_mm, nest.sheet_width_mm, inch)
        for nest in nests
        if nest.sheet_length_mm and nest.sheet_width_mm
    )
    return PlateToBuy(
        plate.material,
        plate.thickness_text,
        plate.short_ahead,
        ", ".join(sizes),
        min(dates, default=None),
        list(dict.fromkeys(nest.name for nest in nests)),
    )
