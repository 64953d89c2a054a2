"""What is in each torch, said for a change."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext as _

from planning.calc.numbers import filled
from shopfloor.models import Fitting, Table, Torch, WearSet
from shopfloor.runs.amps import current_mismatch
from shopfloor.terminal.words import kind_words, set_words
from shopfloor.wear.endings import ORDER
from shopfloor.wear.fitted import fittings_in, set_of
from shopfloor.wording.counts import count


@dataclass(frozen=True, slots=True)
class PieceKey:
    label: str
    kind: str
    kind_words: str
    words: str
    part_id: int | None  # what the drawer would give in its place; None: it is empty


@dataclass(frozen=True, slots=True)
class TorchKeys:
    torch: Torch
    fitted: list[Fitting]
    wear_set: WearSet | None
    pieces: list[PieceKey]
    due_words: str
    right: bool | None
    wanted: str
    amps_words: str = ""  # what was measured, where it says another set

    @property
    def code(self) -> str:
        return self.torch.code

    @property
    def set_words(self) -> str:
        return set_words(self.wear_set)

    @property
    def pit_id(self) -> str:
        return f"pit-{self.torch.code}"


def torches_of(
    table: Table, wanted: WearSet | None, now: datetime, *, cuts: int | None
) -> list[TorchKeys]:
    """`wanted`: the set of the nest that cuts now, None where nothing does. `cuts`: the torch it
    cuts with; nothing is asked of the others."""
    torches = table.torches.select_related("table").order_by("code")
    return [torch_of(torch, wanted if torch.pk == cuts else None, now) for torch in torches]


def fitted_in(torches: list[TorchKeys]) -> dict[str, WearSet | None]:
    return {one.code: one.wear_set for one in torches}


def torch_of(torch: Torch, wanted: WearSet | None, now: datetime) -> TorchKeys:
    fitted = fittings_in(torch)
    off = current_mismatch(torch, now, fitted)
    inside = set_of(fitted)
    pieces = [
        PieceKey(
            label=one.piece.label,
            kind=one.piece.part.kind,
            kind_words=kind_words(one.piece.part.kind),
            words=age_words(one),
            part_id=one.piece.part_id if one.piece.part.in_drawer else None,
        )
        for one in sorted(fitted, key=place_of)
    ]
    due = [kind_words(one.piece.part.kind) for one in fitted if outlook_due(one) == "due"]
    return TorchKeys(
        torch=torch,
        fitted=fitted,
        wear_set=inside,
        pieces=pieces,
        due_words=_("{due} due").format(due=" and ".join(due)).capitalize() if due else "",
        right=None if inside is None or wanted is None else inside.pk == wanted.pk,
        wanted=set_words(wanted),
        amps_words=_("{off} Which set is in the torch?").format(off=off.words) if off else "",
    )


def place_of(fitting: Fitting) -> int:
    kind = fitting.piece.part.kind
    return ORDER.index(kind) if kind in ORDER else len(ORDER)


def outlook_due(fitting: Fitting) -> str:
    outlook = getattr(fitting.piece, "outlook", None)
    return outlook.due if outlook else "unknown"


def age_words(fitting: Fitting) -> str:
    """FA-EL-1, 164 starts, about 436 left, as of 10:16; age unknown where nobody knows."""
    label = fitting.piece.label
    outlook = getattr(fitting.piece, "outlook", None)
    if outlook is None or outlook.starts is None:
        return _("{label}, age unknown").format(label=label)
    told = f"{label}, {count(outlook.starts, '{n} start', '{n} starts')}"
    if outlook.due == "due":
        return _("{told}, due").format(told=told)
    return (
        told
        if outlook.starts_left is None
        else filled(
            _("{told}, about {starts_left:,} left"), told=told, starts_left=outlook.starts_left
        )
    )
