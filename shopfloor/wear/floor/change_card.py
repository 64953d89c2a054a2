"""What can go into a torch: trays that are ready, and fresh sets from the drawer."""

from __future__ import annotations

import json
from collections import defaultdict
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop as N_

from shopfloor.models import (
    FailureCause,
    Fitting,
    Piece,
    PieceKind,
    PieceState,
    SetPart,
    Torch,
    Tray,
    WearSet,
)
from shopfloor.terminal.words import kind_words, set_words
from shopfloor.wear.endings import SHOWS_ON
from shopfloor.wear.fitted import set_of

REMOVALS = (
    ("shelved", N_("Back to the drawer")),
    ("retired", N_("Worn, due")),
    ("failed", N_("It failed")),
    ("crashed", N_("Crash")),
    ("lost", N_("Lost")),
)
# Said of a part that failed; a crash is a key of its own above.
CAUSES = tuple(cause for cause in FailureCause if cause != FailureCause.CRASH)
FRESH_MOST = 2  # sets offered new from the drawer: the wanted one, and what is in


@dataclass(frozen=True, slots=True)
class TrayKey:
    label: str
    title: str
    words: str
    set_words: str
    wanted: bool
    payload: str
    codes: str


@dataclass(frozen=True, slots=True)
class FreshKey:
    title: str
    acts: str


Filled = list[tuple[Tray, list[str]]]  # with the kinds of what is in it


def removal_causes() -> list[tuple[str, str, str]]:
    """Code, words, and the kind of part that each shows on."""
    return [(cause.value, str(cause.label), SHOWS_ON[cause].value) for cause in CAUSES]


def trays_filled() -> Filled:
    """Trays with something in them that can go in; two queries."""
    ready = Piece.objects.filter(state__in=(PieceState.NEW, PieceState.SHELVED)).exclude(tray=None)
    held: dict[int, list[str]] = defaultdict(list)
    for tray_id, kind in ready.order_by("part__kind").values_list("tray", "part__kind"):
        held[tray_id].append(kind_words(kind))
    trays = Tray.objects.filter(pk__in=held).select_related("wear_set").order_by("label")
    return [(tray, held[tray.pk]) for tray in trays]


def trays_ready(
    filled: Filled, torch: Torch, wanted: WearSet | None, *, named: bool
) -> list[TrayKey]:
    """What can go into a torch, the wanted set's first. One scan or touch swaps all; what comes
    out goes back to the drawer. `named`: the torch is one of several."""
    title = _("Tray {label} into torch {torch}") if named else _("Tray {label}")
    keys = []
    for tray, kinds in filled:
        payload = {"tray": tray.label, "torch": torch.code}
        keys.append(
            TrayKey(
                label=tray.label,
                title=title.format(label=tray.label, torch=torch.code),
                words=f"{set_words(tray.wear_set)}, {held_words(kinds)}",
                set_words=set_words(tray.wear_set),
                wanted=wanted is not None and tray.wear_set_id == wanted.pk,
                payload=json.dumps(payload),
                codes=json.dumps([tray.label]),
            )
        )
    return sorted(keys, key=lambda key: not key.wanted)


def held_words(kinds: list[str]) -> str:
    """All 5 parts, or their names where some are missing."""
    return (
        _("all {count} parts").format(count=len(kinds))
        if len(kinds) >= len(PieceKind.values)
        else ", ".join(kinds)
    )


def fresh_sets(
    torch: Torch, fitted: list[Fitting], wanted: WearSet | None, *, named: bool
) -> list[FreshKey]:
    """A whole set new from the drawer, one entry a piece: the wanted set, and the one that is in.
    Only where the drawer holds every part of it."""
    title = _("A new set {wear_set} into torch {torch}") if named else _("A new set {wear_set}")
    inside = set_of(fitted)
    sets = [one for one in dict.fromkeys((wanted, inside)) if one is not None]
    found = []
    for one in sets[:FRESH_MOST]:
        parts = list(SetPart.objects.filter(wear_set=one).order_by("kind"))
        if not parts or any(part.in_drawer < 1 for part in parts):
            continue
        acts = [fresh_act(torch, part, fitted, one) for part in parts]
        said = title.format(wear_set=set_words(one), torch=torch.code)
        found.append(FreshKey(title=said, acts=json.dumps(acts)))
    return found


def fresh_act(
    torch: Torch, part: SetPart, fitted: list[Fitting], wear_set: WearSet
) -> dict[str, object]:
    """The entry that puts one new part in; the old one goes out as worn where it was the same
    set's, else back to the drawer."""
    old = next((one.piece for one in fitted if one.piece.part.kind == part.kind), None)
    payload: dict[str, object] = {"new_part": part.pk, "torch": torch.code}
    if old is not None:
        same = old.part.wear_set_id == wear_set.pk
        payload |= {"old": old.label, "state": "retired" if same else "shelved"}
    return {"kind": "change_piece", "payload": payload}
