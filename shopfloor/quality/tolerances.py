"""What ISO 9013 allows sizes to be off, by thickness: for the setup sheet and beside a check. The
figures are `planning.calc.tolerance`'s; those from memory say so wherever they are shown."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Any, Final

from django.utils.translation import gettext as _

from planning.calc.tolerance import SIZES_MM, LimitDeviation, limit_deviation
from shopfloor.models import Check
from shopfloor.wording.lengths import depth, size

CLASSES: Final = (1, 2)


@dataclass(frozen=True, slots=True)
class LimitRow:
    """A range of nominal sizes and what each class allows there, in words."""

    sizes: str
    allowed: tuple[str, ...]


def limit_rows(thickness_mm: float, largest_mm: float, user: Any) -> list[LimitRow]:
    """Ranges of size up to the largest, those left out of which no class says anything."""
    rows = []
    for above, below in itertools.pairwise(SIZES_MM):
        found = [limit_deviation((above + below) / 2, thickness_mm, each) for each in CLASSES]
        if above < largest_mm and any(found):
            sizes = _("%(above)s to below %(below)s") % {
                "above": size(above, user), "below": size(below, user)
            }  # fmt: skip
            rows.append(LimitRow(sizes, tuple(allowed_words(each, user) for each in found)))
    return rows


def allowed_words(allowed: LimitDeviation | None, user: Any) -> str:
    """± 0.25 mm"""
    if allowed is None:
        return _("unknown")
    said = f"± {depth(allowed.mm, user)}"
    if allowed.sure == "read":
        return said
    return _("%(said)s (from memory)") % {"said": said}


def off_by_mm(check: Check) -> float | None:
    """How much larger the measured size is than the one asked; None where one is unknown. The
    path's correction is half of it a side, the other way round in a hole."""
    if check.correction_mm is None:
        return None
    return check.correction_mm * (2 if check.shape == "hole" else -2)


def size_verdict(check: Check, user: Any) -> str:
    """What a measured size is off, and what ISO 9013 allows; blank where no size was measured. The
    drawing says which class holds, so nothing is judged."""
    nominal_mm, off_mm = check.measured.get("nominal_mm"), off_by_mm(check)
    if off_mm is None or not nominal_mm:
        return ""
    thickness_mm = check.measured.get("thickness_mm") or check.run.revision.nest.thickness_mm
    one, two = (
        allowed_words(limit_deviation(nominal_mm, thickness_mm, each), user) for each in CLASSES
    )
    return _("%(size)s is %(off)s off. ISO 9013 allows %(one)s in class 1, %(two)s in class 2.") % {
        "size": depth(nominal_mm, user),
        "off": f"{'−' if off_mm < 0 else '+'}{depth(abs(off_mm), user)}",
        "one": one,
        "two": two,
    }
