"""Postings filtered by a path and summed. A figure of money is the postings of its path; its parts
are the same postings one level deeper. SHAPES has a line for each kind of figure."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import date
from typing import Any, NamedTuple

from django.db.models import Q, Sum
from django.utils.translation import gettext as _

from planning.calc.dates import MONTH, dated
from planning.calc.numbers import written
from planning.calc.said import said
from planning.reports.figure import Figure, Part, Ref, whole, with_total
from shopfloor.models import Job, JobLine, Month, Posting, PostingKind
from shopfloor.wording.quantity import Quantity, Remark, Unit, money, seconds, summed, text

SHOP = "0"  # in a key, for what belongs to no job
MATERIAL = ("material", "credit")
HEAVY = ("run__revision__program", "run__revision__notes", "run__plan")  # never read for a name
RULES = {
    "material": said("sheet cost, shared by the net area of the parts"),
    "credit": said("what is left of the sheet, by area share × cost × the shop's factor"),
    "machine": said("elapsed time × machine rate of the day, shared by the contours' own arc time"),
    "labour": said("attended time, split between what was attended at once, × labour rate"),
    "bench": said("bench minutes as logged × bench rate"),
    "gas": said("arc time × gas rate"),
    "energy": said("volts × amps × arc time / efficiency × price of a kWh"),
    "wear": said(
        "starts × price / rated life while the piece lives; its price by its real starts after"
    ),
    "crash": said("unused worth of the pieces it took, its stop, and the parts it spoilt"),
}


class Shape(NamedTuple):
    """One kind of figure: the steps of its path, what its parts are (kind, job or posting), which
    kind of figure a part opens, and its rule; where that is blank, the rule of its posting kind."""

    path: tuple[str, ...]
    parts: str
    opens: str
    rule: str = ""


SHAPES = {
    "month": Shape(("month",), "kind", "month_kind", said("everything posted into it")),
    "month_kind": Shape(("month", "kind"), "job", "month_job_kind"),
    "month_job": Shape(
        ("month", "job"), "kind", "month_job_kind",
        said("what was posted for it in this month; the job's own page has all months"),
    ),
    "month_job_kind": Shape(("month", "job", "kind"), "posting", "posting"),
    "job": Shape(
        ("job",), "kind", "job_kind", said("everything posted for its lines, over all months")
    ),
    "job_kind": Shape(("job", "kind"), "posting", "posting"),
    "job_line": Shape(
        ("job", "line"), "kind", "job_line_kind", said("everything posted for it, over all months")
    ),
    "job_line_kind": Shape(("job", "line", "kind"), "posting", "posting"),
}  # fmt: skip


class Step(NamedTuple):
    """One step of a path: its part of the key, what it filters by, and what it is called."""

    key: str
    where: dict[str, Any]
    label: str


def read(by: Sequence[str], **where: Any) -> list[tuple[Any, ...]]:
    """Sums of postings, added up by the database: the fields of `by`, evidence, minor units. `late`
    may be one of them: whether it is about a closed month."""
    own = Posting.objects.filter(**where).order_by()
    rows = own.annotate(late=Q(belongs_to__isnull=False)).values_list(*by, "evidence")
    return list(rows.annotate(all=Sum("amount_minor")))


def opened(kind: str, key: str) -> Figure:
    """A figure of SHAPES. Raises `LookupError` for a month, job or line there is none of."""
    shape = SHAPES[kind]
    steps = _steps(shape.path, key)
    where = {name: value for step in steps.values() for name, value in step.where.items()}
    parts = _entries(where) if shape.parts == "posting" else _groups(shape, steps, where)
    total = whole(parts, money(0))
    rule = shape.rule or RULES.get(steps["kind"].key, "")
    page = Ref("cost", key[:7]) if "month" in steps else Ref("job_cost", steps["job"].key)
    label = _label(steps)
    return Figure(Ref(kind, key), label, total, rule, with_total(parts, total), page=page)


def _groups(shape: Shape, steps: dict[str, Step], where: dict[str, Any]) -> list[Part]:
    """The postings of a path one level deeper, the largest amount first."""
    field = "kind" if shape.parts == "kind" else "line__job_id"
    groups: dict[Any, list[Quantity]] = defaultdict(list)
    for value, evidence, minor in read([field], **where):
        groups[value].append(money(minor, evidence))
    titles = _titles(groups) if shape.parts == "job" else {}
    parts = []
    for value, own in groups.items():
        of = {name: step.key for name, step in steps.items()}
        of[shape.parts] = str(value or SHOP)
        ref = Ref(shape.opens, ":".join(of[name] for name in SHAPES[shape.opens].path))
        label = titles.get(value, _("the shop")) if shape.parts == "job" else kind_label(value)
        notes = (RULES.get(value, ""),) if shape.parts == "kind" else ()
        parts.append(Part(label, summed(own, money(0)), ref, notes))
    return sorted(parts, key=lambda part: (-part.quantity.number, part.label))


def _titles(jobs: dict[Any, Any]) -> dict[int, str]:
    found = Job.objects.filter(pk__in=[pk for pk in jobs if pk is not None])
    return {job.pk: f"{job.number}, {job.title}" for job in found}


def _entries(where: dict[str, Any]) -> list[Part]:
    """Posting by posting, the oldest first."""
    rows = (
        Posting.objects.filter(**where)
        .select_related("run__revision__nest", "piece")
        .defer(*HEAVY)
        .order_by("shift_date", "pk")
    )
    return [
        Part(
            f"{dated(row.shift_date)}, {_about(row) or kind_label(row.kind)}",
            money(row.amount_minor, row.evidence),
            Ref("posting", str(row.pk)),
            (row.why or Remark("{}", (amount_of(row),)),),
        )
        for row in rows
    ]


def _about(row: Posting) -> str:
    nest = row.run.revision.nest.name if row.run else ""
    piece = _("piece {piece}").format(piece=row.piece.label) if row.piece else ""
    return ", ".join(word for word in (nest, piece) if word)


def amount_of(row: Posting) -> Quantity:
    """What a posting was charged for, in the unit a person thinks in."""
    if row.quantity is None:
        return text("")
    if row.unit == "mm2":
        return text(said("{0:m2,.3f}", float(row.quantity)))
    if row.unit == "s":
        return seconds(float(row.quantity))
    if row.unit == "start":
        return Quantity(float(row.quantity), Unit.STARTS)
    return text(f"{written(row.quantity, ',.1f')} {row.unit}".strip())


def kind_label(kind: str) -> str:
    return str(PostingKind(kind).label) if kind in PostingKind.values else kind


def _label(steps: dict[str, Step]) -> str:
    """machine of J-1 line 2, plate in October 2026."""
    kind, month = steps.get("kind"), steps.get("month")
    owner = steps.get("line") or steps.get("job")
    if kind and owner:
        first = _("{kind} of {owner}").format(kind=kind.label, owner=owner.label)
    elif owner:
        first = (
            owner.label
            if month or "line" in steps
            else _("Cost of {owner}").format(owner=owner.label)
        )
    else:
        first = kind.label if kind else ""
    return " in ".join(word for word in (first, month.label if month else "") if word)


def _steps(path: tuple[str, ...], key: str) -> dict[str, Step]:
    words = key.split(":", len(path) - 1)
    if len(words) != len(path):
        raise LookupError(_("{key!r} does not say {path}").format(key=key, path=", ".join(path)))
    found: dict[str, Step] = {}
    for name, word in zip(path, words, strict=True):
        if name == "month":
            found[name] = _month_step(word)
        elif name == "job":
            found[name] = _job_step(word, shop="month" in found)
        elif name == "line":
            found[name] = _line_step(found["job"].where["line__job"], word)
        else:
            found[name] = Step(word, {"kind": word}, kind_label(word))
    return found


def month_of(day: str) -> Month:
    month = Month.objects.filter(first_day=date.fromisoformat(day)).defer("printed").first()
    if month is None:
        raise LookupError(_("nothing was posted in {day}").format(day=day))
    return month


def owner_of(key: str) -> tuple[int | None, str]:
    """The job of a key and what it is called."""
    if key == SHOP:
        return None, _("the shop")
    found = Job.objects.filter(pk=int(key)).first()
    if found is None:
        raise LookupError(_("there is no job {key}").format(key=key))
    return found.pk, found.number


def _month_step(day: str) -> Step:
    month = month_of(day)
    return Step(day, {"month": month}, dated(month.first_day, MONTH))


def _job_step(key: str, *, shop: bool) -> Step:
    if key == SHOP and not shop:
        raise LookupError(_("there is no job {key}").format(key=key))
    pk, name = owner_of(key)
    return Step(SHOP if pk is None else str(pk), {"line__job": pk}, name)


def _line_step(job: int, number: str) -> Step:
    line = JobLine.objects.filter(job=job, number=int(number)).select_related("job").first()
    if line is None:
        raise LookupError(_("job {job} has no line {number}").format(job=job, number=number))
    label = _("{job} line {line}, {part}").format(
        job=line.job.number, line=line.number, part=line.part
    )
    return Step(number, {"line": line}, label)
