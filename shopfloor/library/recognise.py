"""Parts of a nest's or a drawing's revision found among those known. Work kind "parts", key
"nest:<revision id>" or "drawing:<revision id>"; done when one is read, so that no page compares
shapes."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any, Final

from django.db import transaction
from django.db.models import F, OuterRef, Q, Subquery
from django.db.models.functions import Abs
from django.utils import timezone

from planning.calc.alike import Outline, Verdict, judge, outline_of
from shopfloor.background.request import failed_lately, request_work
from shopfloor.chart.fit import equal_mm
from shopfloor.library.found import Found, drawing_parts, nest_parts
from shopfloor.models import (
    ChartRow,
    DrawingRevision,
    KnownPart,
    LikePart,
    Material,
    NestRevision,
    PartPlace,
)

VERSION: Final = 1  # of these rules: what an older one looked at is looked at again
COMPARED: Final = 60  # known parts of nearly the same size that a shape is laid on at most
_AROUND_MM: Final = 24.0  # what a kerf can add to an outline, eight times half of the widest
_AROUND_SHARE: Final = 0.06
_AREA_SHARE: Final = 0.1
_HOLES: Final = 2  # more or fewer than it has
NEAREST: Final = 3


def parts_missing(most: int = 100) -> int:
    """Asks for the parts of newest revisions that nobody has looked for any in, or an older version
    of this; some at a time. Returns how many. Harmless to repeat."""
    wanted = []
    for kind, model, of in (
        ("nest", NestRevision, "nest"), ("drawing", DrawingRevision, "drawing")
    ):  # fmt: skip
        newest = model.objects.filter(**{of: OuterRef(of)}).order_by("-revision").values("pk")
        rows = model.objects.filter(known_by__lt=VERSION, pk=Subquery(newest[:1])).order_by("pk")
        rows = rows.exclude(pk__in=failed_lately("parts", f"{kind}:"))
        wanted += [f"{kind}:{pk}" for pk in rows.values_list("pk", flat=True)[:most]]
    for key in wanted:
        request_work(kind="parts", key=key)
    return len(wanted)


def parts_recognise(*, key: str, payload: dict[str, Any]) -> None:
    """Harmless to repeat: places are written anew, parts that are known stay."""
    kind, _, pk = key.partition(":")
    if kind == "nest":
        revision = NestRevision.objects.select_related("nest").filter(pk=int(pk)).first()
        if revision is not None:
            _recognise(nest_parts(revision), revision.nest, {"revision": revision})
    else:
        drawn = DrawingRevision.objects.select_related("drawing").filter(pk=int(pk)).first()
        if drawn is not None:
            _recognise(drawing_parts(drawn), drawn.drawing, {"drawing_revision": drawn})


def _recognise(found: Sequence[Found], of: Any, place: dict[str, Any]) -> None:
    """Shapes are compared before anything is locked: of a large nest that takes seconds, and the
    tables' entries must not wait for it."""
    judged = _Judged(_half_kerfs(of.material_id, of.thickness_mm))
    judged.beforehand(found, of)
    _write(found, of, place, judged)


class _Judged:
    """Verdicts on pairs of shapes, each reached once. A part made from the nest's own shape goes by
    that shape's place in `found`."""

    def __init__(self, kerfs: Sequence[float]) -> None:
        self.kerfs = kerfs
        self.made: dict[int, int] = {}  # which of the found shapes a part was made of
        self.verdicts: dict[tuple[str, int, bool, int], Verdict | None] = {}

    def beforehand(self, found: Sequence[Found], of: Any) -> None:
        new: list[int] = []
        for at, each in enumerate(found):
            known = (self.of_part(part, each, at) for part in _candidates(each.outline, of))
            if any(verdict is not None and verdict.kind == "same" for verdict in known):
                continue
            for first in new:
                if _alike_in_size(found[first].outline, each.outline):
                    self._of_found(first, found[first], each, at)
            new.append(at)

    def of_part(self, part: KnownPart, each: Found, at: int) -> Verdict | None:
        first = self.made.get(part.pk)
        kind, number = ("part", part.pk) if first is None else ("found", first)
        key = (kind, number, part.from_drawing, at)
        if key not in self.verdicts:
            offsets = _offsets(part.from_drawing, each, self.kerfs)
            outline = _outline(part)
            self.verdicts[key] = None if outline is None else judge(outline, each.outline, offsets)
        return self.verdicts[key]

    def _of_found(self, first: int, one: Found, each: Found, at: int) -> None:
        offsets = _offsets(one.drawn, each, self.kerfs)
        self.verdicts["found", first, one.drawn, at] = judge(one.outline, each.outline, offsets)


@transaction.atomic
def _write(found: Sequence[Found], of: Any, place: dict[str, Any], judged: _Judged) -> None:
    Material.objects.select_for_update(no_key=True).get(
        pk=of.material_id
    )  # one at a time finds a new part
    before = set(PartPlace.objects.filter(**place).values_list("part", flat=True))
    PartPlace.objects.filter(**place).delete()
    follows = _followed(place)
    rows = []
    for at, each in enumerate(found):
        part, verdict = _known(each, at, of, judged)
        for use in each.uses:
            over = use.copies - use.mirrored if verdict.kind == "mirrored" else use.mirrored
            rows.append(PartPlace(
                part=part, line_id=use.line_id, contour=use.contour, copies=use.copies,
                turned_over=over, share=use.share, of_nest=use.of_nest,
                offset_mm=round(verdict.offset_mm, 3), **place,
            ))  # fmt: skip
    PartPlace.objects.bulk_create(rows, batch_size=500)
    for read in place.values():
        type(read).objects.filter(pk=read.pk).update(known_by=VERSION)
    if follows is not None and len(found) == 1:
        part = rows[0].part
        if part.pk != follows.pk and part.follows_id is None and follows.follows_id != part.pk:
            KnownPart.objects.filter(pk=part.pk).update(follows=follows)
    _forget(before - {row.part_id for row in rows})


def _followed(place: dict[str, Any]) -> KnownPart | None:
    """The one part of the revision before a drawing's: the drawing itself says what follows it."""
    drawn = place.get("drawing_revision")
    if drawn is None:
        return None
    before = PartPlace.objects.filter(
        drawing_revision__drawing=drawn.drawing_id, drawing_revision__revision__lt=drawn.revision
    ).order_by("-drawing_revision__revision")
    places = list(before.select_related("part")[:2])
    several = len({each.drawing_revision_id for each in places}) < len(places)
    return places[0].part if places and not several else None


def _forget(parts: set[int]) -> None:
    """Parts that are found nowhere any more, unless a person has said something of them."""
    KnownPart.objects.filter(
        pk__in=parts, places=None, named=False, follows=None, later=None
    ).exclude(Q(likes__answer="other") | Q(liked_by__answer="other")).delete()


def _known(each: Found, at: int, of: Any, judged: _Judged) -> tuple[KnownPart, Verdict]:
    """The part that a shape is, made where it is new."""
    near: list[tuple[KnownPart, Verdict]] = []
    for part in _candidates(each.outline, of):
        verdict = judged.of_part(part, each, at)
        if verdict is None:
            continue
        faced = part.marked or each.outline.marked
        if verdict.kind == "near" or (verdict.kind == "mirrored" and faced):
            near.append((part, verdict))
            continue
        _learned(part, each)
        return part, verdict
    made = KnownPart.objects.create(
        material_id=of.material_id, thickness_mm=of.thickness_mm,
        thickness_text=of.thickness_text, made_at=timezone.now(), name=each.name[:80],
        **_shape(each),
    )  # fmt: skip
    judged.made[made.pk] = at
    near.sort(key=lambda pair: (len(pair[1].changes), pair[1].apart_mm))
    LikePart.objects.bulk_create(
        LikePart(part=made, older=part, changes=_changes(verdict))
        for part, verdict in near[:NEAREST]
    )
    return made, Verdict("same", 0.0)


def _changes(verdict: Verdict) -> list[dict[str, Any]]:
    if verdict.kind == "mirrored":
        return [{"what": "mirror", "was_mm": None, "now_mm": None}]
    return [dataclasses.asdict(change) for change in verdict.changes]


def _candidates(outline: Outline, of: Any) -> list[KnownPart]:
    """Known parts of about its sizes, the nearest first."""
    room, area = _room(outline)
    rows = KnownPart.objects.filter(
        Q(around_mm__range=(outline.around_mm - room, outline.around_mm + room)),
        Q(area_mm2__range=(outline.area_mm2 - area, outline.area_mm2 + area)),
        material=of.material_id,
        holes__range=(max(0, outline.holes - _HOLES), outline.holes + _HOLES),
        thickness_mm__range=equal_mm(of.thickness_mm),
    )  # fmt: skip
    off = Abs(F("holes") - outline.holes) * room + Abs(F("around_mm") - outline.around_mm)
    return list(rows.order_by(off, "pk")[:COMPARED])


def _room(outline: Outline) -> tuple[float, float]:
    """How far another's outline may be longer or shorter, in mm, and its area, in mm2."""
    room = _AROUND_MM + _AROUND_SHARE * outline.around_mm
    return room, 3.0 * outline.edge_mm + _AREA_SHARE * outline.area_mm2


def _alike_in_size(one: Outline, other: Outline) -> bool:
    """As `_candidates` asks of a known part, of two shapes at hand."""
    room, area = _room(other)
    return (
        abs(one.around_mm - other.around_mm) <= room
        and abs(one.area_mm2 - other.area_mm2) <= area
        and abs(one.holes - other.holes) <= _HOLES
    )


def _outline(part: KnownPart) -> Outline | None:
    """None where edges a micron apart meet as they are kept: no other shape is it."""
    return outline_of(part.rings, part.lines, marked=part.marked, step_mm=part.step_mm)


def _half_kerfs(material_id: int, thickness_mm: float) -> list[float]:
    rows = ChartRow.objects.filter(
        material=material_id, kerf_mm__gt=0,
        thickness_mm__range=(thickness_mm * 0.75, thickness_mm * 1.25),
    )  # fmt: skip
    return sorted({mm / 2 for mm in rows.values_list("kerf_mm", flat=True) if mm})


def _offsets(from_drawing: bool, each: Found, kerfs: Sequence[float]) -> list[float]:
    """Offsets of the shape's edges that the chart's kerfs explain: half a kerf between a drawing
    and a program that has it in its path, the difference of two between two programs."""
    if from_drawing and not each.drawn:
        return list(kerfs)
    if each.drawn and not from_drawing:
        return [-kerf for kerf in kerfs]
    return [] if each.drawn else [a - b for a in kerfs for b in kerfs if a != b]


def _learned(part: KnownPart, each: Found) -> None:
    """A drawing says what a part is better than a program does; a job line better than a nest."""
    fields: dict[str, Any] = {}
    if each.drawn and not part.from_drawing:
        fields |= _shape(each)
    if not part.named and each.rank > _rank(part) and part.name != each.name[:80]:
        fields["name"] = each.name[:80]
    for name, value in fields.items():
        setattr(part, name, value)
    if fields:
        part.save(update_fields=list(fields))


def _rank(part: KnownPart) -> int:
    """What the part's name was taken from: 0 a nest, 1 a job line, 2 a drawing."""
    if part.from_drawing:
        return 2
    return int(part.places.filter(line__isnull=False).exists())


def _shape(each: Found) -> dict[str, Any]:
    outline = each.outline
    rings = [outline.area.exterior, *outline.area.interiors]
    return {
        "rings": [[[round(x, 3), round(y, 3)] for x, y in ring.coords] for ring in rings],
        "lines": [
            [[round(x, 3), round(y, 3)] for x, y in line.coords] for line in outline.lines
        ],
        "marked": outline.marked, "from_drawing": each.drawn, "step_mm": outline.step_mm,
        "holes": outline.holes, "area_mm2": outline.area_mm2, "around_mm": outline.around_mm,
    }  # fmt: skip
