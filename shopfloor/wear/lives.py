"""What a piece of a part gives, as planning has published it."""

from __future__ import annotations

from collections.abc import Iterable

from planning.calc.life.given import Given
from shopfloor.models import SetPart, Summary

KIND = "life"  # of the `Summary` a part's life is kept in, by the part's id


def given_of(parts: Iterable[int]) -> dict[int, Given]:
    """By part, what one piece of it gives, where enough have ended for plans to go by it."""
    keys = [str(part) for part in sorted(set(parts))]
    rows = Summary.objects.filter(kind=KIND, key__in=keys).values_list("key", "body__gives")
    return {int(key): Given(*gives) for key, gives in rows if gives}


def piece_starts(parts: Iterable[SetPart]) -> dict[int, float | None]:
    """By part, starts that one piece gives: as pieces of the shop have, else as it is rated; None
    where nobody knows."""
    rows = list(parts)
    gives = given_of(one.pk for one in rows)
    return {one.pk: gives[one.pk].starts if one.pk in gives else one.rated_starts for one in rows}
