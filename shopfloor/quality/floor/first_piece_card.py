"""The first piece of somebody new: who measured it, and that a second person has to."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils import timezone
from django.utils.translation import gettext as _

from planning.calc.dates import timed
from planning.calc.numbers import filled
from planning.calc.units import in_from_mm
from shopfloor.models import Check, Run, Units
from shopfloor.quality.queries import check_failed, countersigns_wanted, u_asked, verdict_words


@dataclass(frozen=True, slots=True)
class Signature:
    check: int
    by: int
    mm: str
    inch: str

    def words(self, units: str) -> str:
        return self.inch if units == Units.INCH else self.mm


def signature_wanted(run: Run) -> Signature | None:
    # Its run is at hand: with it, its nest and its table the statement would be twice as long.
    check = countersigns_wanted(run).select_related(None).select_related("by").first()
    if check is None:
        return None
    both = (check_words(check, inch=inch) for inch in (False, True))
    return Signature(check.pk, check.by_id, *both)


def check_words(check: Check, *, inch: bool) -> str:
    """Milo Brandt measured u 0.30 mm (range 2) at 14:05; u 0.0118 in for who reads inches."""
    if check.u_mm is None:
        found = _("called it good")
    elif inch:
        found = filled(_("measured u {u_mm:.4f} in"), u_mm=in_from_mm(check.u_mm))
    else:
        found = filled(_("measured u {u_mm:.2f} mm"), u_mm=check.u_mm)
    words = (
        _("{shown_name} {found} (range {u_range}) at {at}.")
        if check.u_range
        else _("{shown_name} {found} at {at}.")
    )
    return words.format(
        shown_name=check.by.shown_name,
        found=found,
        u_range=check.u_range,
        at=timed(timezone.localtime(check.at)),
    )


def failed_words(run: Run, *, inch: bool) -> str:
    """What the last check came to where it was not good; blank where it was. It stands until a
    later one is good."""
    check = check_failed(run)
    if check is None:
        return ""
    measured = f"{check.by.shown_name}, {timed(timezone.localtime(check.at))}"
    return f"{verdict_words(check, u_asked(run), inch=inch)} {measured}."
