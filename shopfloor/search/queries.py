"""One box over what the shop gives names to: jobs, parts, nests, sheets, heats, wear parts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.db import connection
from django.db.models import Case, Count, IntegerField, Q, QuerySet, Subquery, Value, When, Window
from django.db.models.functions import Coalesce
from django.utils.translation import gettext as _

from shopfloor.models import (
    Heat,
    Job,
    JobLine,
    Nest,
    Piece,
    PieceKind,
    PieceState,
    Sheet,
    SheetState,
    WearSet,
)
from shopfloor.nests.papers import paper_read

MOST = 12  # of each kind
NEWEST = 2_000  # of each kind are looked through sign by sign; older ones by how they begin


@dataclass(frozen=True, slots=True)
class Found:
    """Something with a page: `page` is that page's URL name, `key` its argument."""

    kind: str
    name: str
    words: str
    page: str
    key: int
    whole: bool = False  # its name is what was typed, no more and no less


@dataclass(frozen=True, slots=True)
class Group:
    head: str
    rows: tuple[Found, ...]
    more: int


def found(text: str) -> list[Group]:
    """What holds the text in its name, what begins with it first; empty for less than two signs.
    Of each kind the newest are searched so, and older ones by how their name begins.
    A printed paper's code finds what the paper is of."""
    wanted = paper_read(text.strip())[0]
    if len(wanted) < 2:
        return []
    groups = (
        _group(
            _("Jobs"),
            _job,
            _ranked(
                Job.objects.select_related("customer"), wanted, "number", "title", "customer__name"
            ),
            wanted,
        ),
        _group(
            _("Parts"),
            _line,
            _ranked(JobLine.objects.select_related("job", "material"), wanted, "part"),
            wanted,
        ),
        _group(
            _("Nests"),
            _nest,
            _ranked(
                Nest.objects.select_related("material"), wanted, "name", "revisions__file_name"
            ),
            wanted,
        ),
        _group(
            _("Sheets"),
            _sheet,
            _ranked(Sheet.objects.select_related("material", "heat"), wanted, "code", "place"),
            wanted,
        ),
        _group(
            _("Heats"),
            _heat,
            _ranked(Heat.objects.select_related("material"), wanted, "number"),
            wanted,
        ),
        _group(
            _("Pieces"),
            _piece,
            _ranked(Piece.objects.select_related("part__wear_set"), wanted, "label"),
            wanted,
        ),
        _sets(wanted),
    )
    return [group for group in groups if group.rows]


def _sets(wanted: str) -> Group:
    """Sets by their code or as they are called (fast 120 A): there are a dozen, and half of a name
    is made of other words."""
    rows = [
        _set(one, wanted)
        for one in WearSet.objects.all()
        if wanted.casefold() in f"{one.code} {one}".casefold()
    ]
    rows.sort(key=lambda row: not row.whole)
    return Group(_("Sets"), tuple(rows[:MOST]), max(0, len(rows) - MOST))


def only(groups: list[Group]) -> Found | None:
    """The one thing whose whole name was typed or scanned, if there is just one."""
    whole = [row for group in groups for row in group.rows if row.whole]
    return whole[0] if len(whole) == 1 else None


def _ranked(rows: QuerySet[Any], wanted: str, *fields: str) -> QuerySet[Any]:
    """Of the newest `NEWEST` rows those that hold the text in one of the fields, and of all rows
    those whose name, the first field, begins with it as typed or in capitals: that much an index
    can find, however many there are."""
    first = fields[0]
    every = rows.model._default_manager
    # The oldest of the newest, a bound on the key: of a list of keys PostgreSQL reads all rows.
    oldest = every.order_by("-pk").values("pk")[NEWEST - 1 : NEWEST]
    newest = Q(pk__gte=Coalesce(Subquery(oldest), Value(0)))
    holds = Q()
    for name in fields:
        holds |= Q(**{f"{name}__icontains": wanted})
    begins = Q()
    for typed in {wanted, wanted.upper(), wanted.lower(), wanted.capitalize()}:
        begins |= _begins(first, typed)
    holding = every.filter(newest).filter(holds).order_by().values("pk")
    beginning = every.filter(begins).order_by().values("pk")
    rank = Case(
        When(**{f"{first}__iexact": wanted}, then=Value(0)),
        When(**{f"{first}__istartswith": wanted}, then=Value(1)),
        When(**{f"{first}__icontains": wanted}, then=Value(2)),
        default=Value(3),
        output_field=IntegerField(),
    )
    found = rows.filter(pk__in=holding.union(beginning))
    ranked: QuerySet[Any] = found.annotate(rank=rank)
    return ranked.order_by("rank", "-pk")


def _begins(name: str, typed: str) -> Q:
    """A test that the field's index answers: SQLite's LIKE takes no index, PostgreSQL's does."""
    if connection.vendor == "sqlite":
        return Q(**{f"{name}__gte": typed, f"{name}__lt": f"{typed}\U0010ffff"})
    return Q(**{f"{name}__startswith": typed})


def _group(head: str, shape: Any, rows: QuerySet[Any], wanted: str) -> Group:
    counted = rows.annotate(found_in_all=Window(Count("pk")))
    some = list(counted[:MOST])
    more = some[0].found_in_all - len(some) if some else 0
    return Group(head, tuple(shape(row, wanted) for row in some), more)


def _same(name: str, wanted: str) -> bool:
    return name.casefold() == wanted.casefold()


def _job(job: Job, wanted: str) -> Found:
    words = f"{job.title}, {job.customer}: {job.state}"
    return Found("job", job.number, words, "job", job.pk, _same(job.number, wanted))


def _line(line: JobLine, wanted: str) -> Found:
    words = _("{job} line {line}, {thickness_text} {material}").format(
        job=line.job.number,
        line=line.number,
        thickness_text=line.thickness_text,
        material=line.material.code,
    )
    return Found("part", line.part, words, "job", line.job_id)


def _nest(nest: Nest, wanted: str) -> Found:
    words = f"{nest.thickness_text} {nest.material.code}"
    if nest.withdrawn_at:
        words = _("{plate}, withdrawn").format(plate=words)
    return Found("nest", nest.name, words, "nest", nest.pk, _same(nest.name, wanted))


def _sheet(sheet: Sheet, wanted: str) -> Found:
    said = [f"{sheet.thickness_text} {sheet.material.code}"]
    if sheet.heat:
        said.append(_("heat {heat}").format(heat=sheet.heat.number))
    if sheet.place:
        said.append(sheet.place)
    words = f"{', '.join(said)}: {SheetState(sheet.state).label}"
    return Found("sheet", sheet.code, words, "sheet", sheet.pk, _same(sheet.code, wanted))


def _heat(heat: Heat, wanted: str) -> Found:
    kept = _("certificate kept") if heat.certificate_sha256 else _("certificate missing")
    words = f"{heat.material.code}, {kept}"
    return Found("heat", heat.number, words, "heat", heat.pk, _same(heat.number, wanted))


def _piece(piece: Piece, wanted: str) -> Found:
    words = f"{PieceKind(piece.part.kind).label}, {piece.part.wear_set}"
    words += f": {PieceState(piece.state).label}"
    return Found("piece", piece.label, words, "piece", piece.pk, _same(piece.label, wanted))


def _set(one: WearSet, wanted: str) -> Found:
    words = str(one) if one.active else _("{wear_set}, not in use").format(wear_set=one)
    whole = _same(one.code, wanted) or _same(str(one), wanted)
    return Found("set", one.code, words, "set", one.pk, whole)
