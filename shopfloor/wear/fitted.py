"""What is in a torch, and which set that makes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Sequence
from datetime import datetime

from django.db.models import Q

from shopfloor.models import Fitting, Torch, WearSet
from telemetry.read_once import once

MOST_ASKED = 100


def fitted_now() -> list[Fitting]:
    """What is in all torches now, the oldest first, with its piece, set, outlook, torch and table:
    read once a page."""
    return once(_fitted_now)


def _fitted_now() -> list[Fitting]:
    rows = Fitting.objects.filter(removed_at=None).order_by("fitted_at", "pk")
    return list(
        rows.select_related("piece__part__wear_set", "piece__outlook", "torch__table").only(
            "fitted_at", "torch__code", "torch__table__code", "torch__table__name",
            "torch__table__order", "torch__table__active", "piece__label", "piece__part__kind",
            "piece__part__wear_set__duty", "piece__part__wear_set__current_a",
            "piece__outlook__due", "piece__outlook__starts_left", "piece__outlook__basis",
            "piece__outlook__basis_said",
        )
    )  # fmt: skip


def fittings_in(torch: Torch) -> list[Fitting]:
    """The open fittings of a torch with their pieces."""
    return list(
        Fitting.objects.filter(torch=torch, removed_at=None)
        .select_related("piece__part__wear_set", "piece__outlook", "piece__tray")
        .order_by("piece__part__kind")
    )


def set_of(fittings: list[Fitting]) -> WearSet | None:
    """The set most of these pieces belong to; None for an empty torch."""
    found = Counter(fitting.piece.part.wear_set for fitting in fittings)
    return found.most_common(1)[0][0] if found else None


def sets_fitted(tables: Collection[int], at: datetime) -> dict[int, WearSet]:
    """By table, the set that was in its first torch that had one; one query."""
    stays = Fitting.objects.filter(torch__table__in=tables, fitted_at__lte=at)
    stays = stays.filter(Q(removed_at=None) | Q(removed_at__gt=at))
    by_torch: dict[tuple[int, int], list[Fitting]] = {}
    rows = stays.select_related("piece__part__wear_set", "torch")
    for row in rows.order_by("torch__code", "piece__part__kind"):
        by_torch.setdefault((row.torch.table_id, row.torch_id), []).append(row)
    found: dict[int, WearSet] = {}
    for (table, _torch), fittings in by_torch.items():
        if wear_set := set_of(fittings):
            found.setdefault(table, wear_set)
    return found


def set_fitted(torch: Torch, at: datetime) -> WearSet | None:
    """The set that was in the torch at a time: an entry may come late, and a run be found later."""
    stays = Fitting.objects.filter(torch=torch, fitted_at__lte=at)
    stays = stays.filter(Q(removed_at=None) | Q(removed_at__gt=at))
    return set_of(list(stays.select_related("piece__part__wear_set").order_by("piece__part__kind")))


def duties_fitted(asked: Sequence[tuple[int, datetime]]) -> list[str]:
    """The duty of the set that was in each torch (an id) at its time, as `set_fitted` has it; ""
    for an empty torch. One query for every `MOST_ASKED` of them."""
    found: list[str] = []
    for begin in range(0, len(asked), MOST_ASKED):
        some = asked[begin : begin + MOST_ASKED]
        first, last = min(at for _, at in some), max(at for _, at in some)
        inside_then = Q(removed_at=None) | Q(removed_at__gt=first)
        stays = list(
            Fitting.objects.filter(
                inside_then, torch__in={torch for torch, _ in some}, fitted_at__lte=last
            )
            .order_by("piece__part__kind")
            .values_list(
                "torch", "fitted_at", "removed_at",
                "piece__part__wear_set", "piece__part__wear_set__duty",
            )
        )  # fmt: skip
        for torch, at in some:
            inside = Counter(
                (wear_set, duty)
                for own, since, until, wear_set, duty in stays
                if own == torch and since <= at and (until is None or until > at)
            )
            found.append(inside.most_common(1)[0][0][1] if inside else "")
    return found
