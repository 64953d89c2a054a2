"""Measured cuts: which want a second signature, and how they stand over time."""

from __future__ import annotations

from dataclasses import dataclass, field

from django.db.models import Count, Exists, Max, OuterRef, Q, QuerySet
from django.utils.translation import gettext as _

from planning.calc.control import Control, individuals
from planning.calc.numbers import filled
from planning.calc.quality import QualityError, rz5_range, u_limits_mm, u_range
from planning.calc.units import in_from_mm
from shopfloor.models import Check, JobLine, Material, Run, RunState, WearSet

SHOWN = 60  # the newest of one set, material and thickness
NEWEST = 1_000  # the groups to choose from are theirs
_ASKED = JobLine.objects.filter(u_range_asked__gt=0)
# A first piece that is done: good, or its u was measured and no drawing asks anything of it. One
# measured while nothing was asked is done no more once a line of its revision asks.
FIRST_PIECE_DONE = Q(passed=True) | (
    Q(passed=None, u_mm__isnull=False)
    & ~Exists(_ASKED.filter(contours__revision=OuterRef("run__revision")))
)
MEASURES = {"u": "u_mm", "kerf": "correction_mm"}


def countersigns_wanted(run: Run | None = None) -> QuerySet[Check]:
    """First pieces done by people whose checks take a second signature, where their run has none
    signed yet. Newest first; the runs that stand, or just `run`'s."""
    checks = Check.objects.filter(
        FIRST_PIECE_DONE, by__needs_countersign=True, countersigned_by=None
    ).filter(~Exists(Check.objects.filter(run=OuterRef("run")).exclude(countersigned_by=None)))
    if run is not None:
        checks = checks.filter(run=run)
    else:
        checks = checks.filter(run__state__in=(RunState.OPEN, RunState.STOPPED))
    return checks.select_related("by", "run__revision__nest", "run__table").order_by("-at")


@dataclass(frozen=True, slots=True)
class CheckGroup:
    """What cuts compare with: one set, one material, one thickness."""

    wear_set: WearSet
    material: Material
    thickness_mm: float
    thickness_text: str
    checks: int

    @property
    def key(self) -> str:
        return f"{self.wear_set.pk}-{self.material.pk}-{self.thickness_mm:g}"


@dataclass(slots=True)
class CheckSeen:
    check: Check
    u_range: int | None = None
    rz5_range: int | None = None
    designation: str = ""
    signals: list[str] = field(default_factory=list)


def check_groups() -> list[CheckGroup]:
    """Set, material and thickness of the newest `NEWEST` measured cuts and how many of these each
    has, the latest measured first."""
    nest = "run__revision__nest"
    newest = _measured().order_by("-at", "-pk").values("pk")[:NEWEST]
    rows = (
        Check.objects.filter(pk__in=newest)
        .order_by()
        .values(f"{nest}__wear_set", f"{nest}__material", f"{nest}__thickness_mm")
        .annotate(checks=Count("pk"), last=Max("at"), text=Max(f"{nest}__thickness_text"))
        .order_by("-last")
    )
    sets = WearSet.objects.in_bulk()
    materials = Material.objects.in_bulk()
    return [
        CheckGroup(
            sets[row[f"{nest}__wear_set"]],
            materials[row[f"{nest}__material"]],
            row[f"{nest}__thickness_mm"],
            row["text"],
            row["checks"],
        )
        for row in rows
    ]


def group_checks(group: CheckGroup) -> list[Check]:
    """Its newest checks, oldest first. Where they are not all among the newest of the shop, a walk
    back in time would read the checks of every group: then they are found by the group's nests."""
    own = Check.objects.filter(
        run__revision__nest__wear_set=group.wear_set,
        run__revision__nest__material=group.material,
        run__revision__nest__thickness_mm=group.thickness_mm,
    ).exclude(run__state=RunState.VOIDED)
    if group.checks < SHOWN:
        newest = sorted(own.order_by().values_list("at", "pk"))[-SHOWN:]
        own = Check.objects.filter(pk__in=[pk for _, pk in newest])
    rows = (
        own.select_related("by", "countersigned_by", "run__revision__nest", "run__table")
        .defer("run__plan", "run__revision__program")
        .order_by("-at", "-pk")
    )
    return list(reversed(rows[:SHOWN]))


def control_of(
    checks: list[Check], measure: str, *, scale: float = 1.0
) -> tuple[list[Check], Control | None]:
    """Those that have the measure, and their control chart (in mm x `scale`); None where they are
    too few."""
    name = MEASURES[measure]
    known = [check for check in checks if getattr(check, name) is not None]
    return known, individuals([getattr(check, name) * scale for check in known])


def seen(checks: list[Check], known: list[Check], control: Control | None) -> list[CheckSeen]:
    """Newest first, each with what the chart says of it."""
    said: dict[int, list[str]] = {}
    if control is not None:
        for places, words in (
            (control.beyond, _("outside the limits")),
            (control.one_side, _("eighth or more in a row on one side")),
            ([place + 1 for place in control.jumps], _("jumped from the one before")),
        ):
            for place in places:
                said.setdefault(known[place].pk, []).append(words)
    found = []
    for check in reversed(checks):
        u, rz5 = _ranges(check)
        named = f"ISO 9013-{u}{rz5}0" if u is not None and rz5 is not None else ""
        found.append(CheckSeen(check, u, rz5, named, said.get(check.pk, [])))
    return found


def u_lines_mm(thickness_mm: float) -> list[tuple[int, float]]:
    """The upper limits of the u ranges of ISO 9013 at a thickness; none where it has none."""
    try:
        return list(enumerate(u_limits_mm(thickness_mm), 1))
    except QualityError:
        return []


def u_asked(run: Run) -> int | None:
    """The squarest u range any part of this sheet asks; None where none is asked."""
    asked = (
        _ASKED.filter(contours__revision=run.revision)
        .order_by("u_range_asked")
        .values_list("u_range_asked", flat=True)
    )
    return asked.first()


def verdict_words(check: Check, asked: int | None, *, inch: bool = False) -> str:
    """Not good: u 0.52 mm, at most 0.30 mm is asked (range 2 of ISO 9013)."""
    verdict = {True: _("Good"), False: _("Not good"), None: _("Not judged")}[check.passed]
    if check.u_mm is None:
        gauge = {
            True: _("the gauge goes"),
            False: _("the gauge does not go"),
            None: _("no u measured"),
        }
        return f"{verdict}: {gauge[check.passed]}."
    thickness_mm = check.measured.get("thickness_mm") or check.run.revision.nest.thickness_mm
    limits = dict(u_lines_mm(thickness_mm))
    said = f"{verdict}: u {_length(check.u_mm, inch)}"
    if check.measured.get("passed") is False:
        said = _("{verdict}: the gauge does not go; u {u_mm}").format(
            verdict=verdict, u_mm=_length(check.u_mm, inch)
        )
    if asked is None or asked not in limits:
        return _("{said}, nothing is asked of it.").format(said=said)
    return _("{said}, at most {asked} is asked (range {u_range} of ISO 9013).").format(
        said=said, asked=_length(limits[asked], inch), u_range=asked
    )


def check_failed(run: Run) -> Check | None:
    """The last judged check of a run, where it was not good."""
    judged = run.checks.exclude(passed=None).select_related("by")  # they know their run
    last = judged.order_by("-at", "-pk").first()
    return last if last is not None and last.passed is False else None


def _length(mm: float, inch: bool) -> str:
    return filled(_("{mm:.4f} in"), mm=in_from_mm(mm)) if inch else filled(_("{mm:.2f} mm"), mm=mm)


def correction_words(correction_mm: float | None, *, inch: bool = False) -> str:
    """Kerf +0.15 mm a side: the path goes further from the part."""
    if correction_mm is None:
        return ""
    size = (
        filled(_("{correction_mm:+.4f} in"), correction_mm=in_from_mm(correction_mm))
        if inch
        else filled(_("{correction_mm:+.2f} mm"), correction_mm=correction_mm)
    )
    if not round(in_from_mm(correction_mm), 4) if inch else not round(correction_mm, 2):
        return _("Kerf right: the path stays where it is.")
    away = _("further from") if correction_mm > 0 else _("nearer to")
    return _("Kerf {size} a side: the path goes {away} the part.").format(
        size=size.replace("-", "−"), away=away
    )


def _measured() -> QuerySet[Check]:
    """Looked up run by run: joined, SQLite would go through all runs there ever were."""
    voided = Run.objects.filter(pk=OuterRef("run"), state=RunState.VOIDED)
    return Check.objects.filter(~Exists(voided))


def _ranges(check: Check) -> tuple[int | None, int | None]:
    """u and Rz5 ranges; None where it was not measured, or lies outside the last range."""
    thickness_mm = check.run.revision.nest.thickness_mm
    try:
        u = None if check.u_mm is None else u_range(check.u_mm, thickness_mm)
        rz5 = None if check.rz5_um is None else rz5_range(check.rz5_um, thickness_mm)
    except QualityError:
        return None, None
    return u, rz5
