"""A figure carries what it was made from: its parts, which add up to it where it is a sum."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import NamedTuple

from django.utils.translation import gettext as _

from shopfloor.wording.quantity import Quantity, Remark, Right, summed

MOST = 200  # parts shown one by one


class Ref(NamedTuple):
    """What opens: a kind and the key of one. The page knows the address."""

    kind: str
    key: str


@dataclass(frozen=True, slots=True)
class Part:
    """One thing a figure was made from. `total`: the sum of those before it."""

    label: str
    quantity: Quantity
    opens: Ref | None = None
    notes: tuple[str | Remark, ...] = ()
    total: bool = False


@dataclass(frozen=True, slots=True)
class Figure:
    """What a figure is called, what it amounts to, by which rule, and what it was made from. `page`
    is where it stands."""

    ref: Ref
    label: str
    quantity: Quantity
    rule: str
    parts: tuple[Part, ...] = ()
    computed_at: datetime | None = None
    page: Ref | None = None


@dataclass(frozen=True, slots=True)
class Opener:
    """Makes the figure of a key; `right` is needed to open any of its kind."""

    open: Callable[[str], Figure]
    right: Right = Right.EVERYBODY


def whole(parts: Sequence[Part], like: Quantity) -> Quantity:
    return summed([part.quantity for part in parts], like)


def with_total(parts: Sequence[Part], total: Quantity, *notes: str | Remark) -> tuple[Part, ...]:
    """The first parts, the others as one, and what they come to."""
    end = Part(_("Total"), replace(total, evidence=""), notes=notes, total=True)
    return (*shortened(parts), end)


def shortened(parts: Sequence[Part]) -> list[Part]:
    """The first of many parts, and the others summed as one."""
    shown, rest = list(parts[:MOST]), parts[MOST:]
    if rest:
        more = replace(whole(rest, rest[0].quantity), evidence="")
        shown.append(Part(_("{count} more").format(count=len(rest)), more))
    return shown
