"""What was learned of a part's life, opened: every piece it was made from. A key is the part's
id."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from planning.calc.numbers import filled
from planning.calc.said import restored, said
from planning.inputs.lives import KIND
from planning.reports.figure import Figure, Part, Ref, shortened
from shopfloor.models import Piece, PieceKind, SetPart, Summary
from shopfloor.wording.quantity import Quantity, Remark, Unit, text

RULE = said(
    "Weibull life of the pieces below, over shapes and means weighed by them and by a weak prior "
    "about the rated life; a piece that did not come to its own end counts as having lasted so "
    "long; ranges are 90 in 100; the model advises, inspection decides"
)


def opened(key: str) -> Figure:
    part = SetPart.objects.filter(pk=int(key)).select_related("wear_set").first()
    row = Summary.objects.filter(kind=KIND, key=key).first()
    if part is None:
        raise LookupError(_("there is no part {key!r}").format(key=key))
    if row is None or row.body is None:
        return _unlearned(key, part)
    body: dict[str, Any] = row.body
    records = sorted(body["records"], key=lambda record: record[0], reverse=True)
    labels = dict(Piece.objects.filter(part=part).values_list("pk", "label"))
    parts = [*_learned(body), *shortened([_piece(one, labels) for one in records])]
    ends = Quantity(body["ends"], Unit.COUNT, "entered")
    parts.append(Part(_("Ended by their own wear"), ends, total=True))
    return Figure(
        Ref("life", key),
        _title(part),
        _starts(body.get("mean")),
        RULE,
        tuple(parts),
        row.computed_at,
        Ref("wear", ""),
    )


def _title(part: SetPart) -> str:
    return _("life of the {kind} of {wear_set}").format(
        kind=PieceKind(part.kind).label, wear_set=part.wear_set
    )


def _unlearned(key: str, part: SetPart) -> Figure:
    """Before the first piece has told anything: the maker's figure, and nothing more."""
    rated = Part(_("Rated life"), _starts(part.rated_starts))
    none = Part(_("Pieces learned from"), Quantity(0, Unit.COUNT))
    return Figure(Ref("life", key), _title(part), _starts(None), RULE, (rated, none), None,
                  Ref("wear", ""))  # fmt: skip


def _starts(value: float | None) -> Quantity:
    return Quantity(None if value is None else round(value), Unit.STARTS)


def _learned(body: dict[str, Any]) -> list[Part]:
    """The mean, its range, the prior, and the pit's usual growth."""
    parts = [Part(_("Rated life"), _starts(body["rated"]))]
    if gives := body.get("gives"):
        starts, out, burnt = gives
        made = filled(
            _("{burnt:,} starts burnt, {out} used up; the rated life counts as two more"),
            burnt=burnt,
            out=out,
        )
        parts.append(Part(_("Plans go by"), _starts(starts), notes=(made,)))
    if "mean" in body:
        low, high = body["mean_between"]
        note = Remark(_("{} to {}"), (_starts(low), _starts(high)))
        parts.append(Part(_("Mean life"), _starts(body["mean"]), notes=(note,)))
        low, high = body["shape_between"]
        parts.append(
            Part(
                _("Shape"),
                text(f"{low:.1f} – {high:.1f}"),
                notes=(_("1: chance alone; above: wear"),),
            )
        )
        parts += [_change(*row) for row in body.get("change", ())]
    else:
        parts.append(Part(_("Mean life"), _starts(None), notes=(restored(body["too_little"]),)))
    if pit := body.get("pit"):
        per = said("{0:.3f} a hundred starts", pit["per_start"] * 100)
        arc = said("and {0:.3f} an hour of arc", pit["per_arc_s"] * 3600)
        readings = ngettext("{n} reading", "{n} readings", pit["readings"]).format(
            n=pit["readings"]
        )
        parts.append(Part(_("Pit grows"), text(per), notes=(arc, readings)))
    return parts


def _change(
    times: int, age: float | None, low: float | None, high: float | None, saved: float
) -> Part:
    """When a change ahead pays, where a failure (piece, spoilt part, time) costs so many times what
    a planned change does."""
    label = _("Change at, a failure being {times} times as dear").format(times=times)
    if age is None:
        return Part(label, text(_("its end: a change ahead never pays")))
    share = Quantity(saved * 100, Unit.PERCENT)
    near = Remark(_("{} to {} are as good"), (_starts(low), _starts(high)))
    return Part(label, _starts(age), notes=(near, Remark(_("{} less than to the end"), (share,))))


def _piece(record: list[Any], labels: dict[int, str]) -> Part:
    piece, age, ended, entered, pits = record
    notes = [_("came to its end") if ended else _("lasted so long at least")]
    if entered:
        notes.append(filled(_("first seen at {starts:,} starts"), starts=round(entered)))
    if pits:
        notes.append(ngettext("{n} pit read", "{n} pits read", len(pits)).format(n=len(pits)))
    ref = Ref("piece", str(piece))
    return Part(labels.get(piece, str(piece)), _starts(age), ref, tuple(notes))
