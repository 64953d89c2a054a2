"""When a change pays, as the wear page's rows: one a part, its words without money."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_
from django.utils.translation import ngettext

from dashboards.ledgers.wear import PieceRow
from planning.calc.life.weibull import LEAST_ENDS
from planning.calc.numbers import filled
from planning.reports.change_pays import ChangePays


@dataclass(frozen=True, slots=True)
class PaysRow:
    kind: str
    head: str
    more: str
    pays: ChangePays


def pays_rows(pieces: Iterable[PieceRow], found: Mapping[int, ChangePays]) -> list[PaysRow]:
    """In the order of the stack; a part once."""
    rows: dict[int, PaysRow] = {}
    for piece in pieces:
        pays = found.get(piece.piece_id)
        if pays is not None and pays.part_id not in rows:
            rows[pays.part_id] = PaysRow(piece.kind, *_words(pays), pays)
    return list(rows.values())


_NOT_BORNE_OUT = {
    "unproven": N_(
        "a change at about {age:,} starts pays by lives and costs alone; followed "
        "through this shop’s past it may have cost more than it saved"
    ),
    "untried": N_(
        "a change at about {age:,} starts pays by lives and costs alone; it is advised "
        "once enough pieces have come out to try it on"
    ),
}


def _words(pays: ChangePays) -> tuple[str, str]:
    if pays.verdict == "pays":
        return (
            filled(_("change at about {age:,} starts"), age=pays.age or 0),
            filled(_("{low:,} to {high:,} are as good"), low=pays.low or 0, high=pays.high or 0),
        )
    if pays.verdict in _NOT_BORNE_OUT:
        words = _(_NOT_BORNE_OUT[pays.verdict])
        return _("run it until inspection says so"), filled(words, age=pays.age or 0)
    if pays.verdict == "unsure":
        return (
            _("run it until inspection says so"),
            filled(
                _("a change at about {age:,} starts may pay: {chance} chances in 100 that it does"),
                age=pays.age or 0,
                chance=round(pays.chance * 100),
            ),
        )
    if pays.verdict == "never":
        return (
            _("run it until inspection says so"),
            _("changing early does not pay: new ones fail as soon, or failing costs little more"),
        )
    if pays.verdict == "thin":
        return (
            _("too little is known: go by inspection"),
            ngettext(
                "{ends} has ended by its own wear, {needed} needed",
                "{ends} have ended by their own wear, {needed} needed",
                pays.ends,
            ).format(ends=pays.ends, needed=LEAST_ENDS),
        )
    return _("unknown"), _lacking(pays.verdict)


def _lacking(which: str) -> str:
    if which == "change":
        return _("the shop has no machine rate, so no minute has a price")
    if which == "price":
        return _("neither the part nor the time of a change has a price")
    return _("what a failure costs is not known: three on record, or the shop’s settings, say")
