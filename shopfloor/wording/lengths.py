"""Lengths, speeds, areas and weights as each person reads them: metric, or inches and pounds."""

from __future__ import annotations

from typing import Any

from django.utils.safestring import SafeString

from planning.calc.numbers import marked, written
from planning.calc.units import ft_from_mm, in_from_mm, lb_from_kg
from shopfloor.people.models import Units
from shopfloor.wording.unknown import unknown


def size(mm: float | None, user: Any = None) -> str | SafeString:
    """A length of a part or sheet in mm, or inches for people who chose them."""
    if mm is None:
        return unknown()
    if reads_inches(user):
        return f"{written(in_from_mm(mm), '.2f')} in"
    return f"{written(mm, '.0f')} mm" if mm >= 100 else f"{written(mm, 'g')} mm"


def depth(mm: float | None, user: Any = None) -> str | SafeString:
    """A length measured to hundredths of a mm, or to tenths of a thousandth of an inch."""
    if mm is None:
        return "–"
    return (
        f"{written(in_from_mm(mm), '.4f')} in" if reads_inches(user) else f"{written(mm, '.2f')} mm"
    )


def place(mm: float | None, user: Any = None) -> str | SafeString:
    """A coordinate of a program: tenths of a mm, or thousandths of an inch."""
    if mm is None:
        return unknown()
    figure = (
        written(in_from_mm(mm), ".3f")
        if reads_inches(user)
        else marked(f"{mm:.1f}".removesuffix(".0"))
    )
    return figure.replace("-", "−")


def depth_signed(mm: float, user: Any = None) -> str:
    return f"{'−' if mm < 0 else '+'}{depth(abs(mm), user)}"


def distance(mm: float | None, user: Any = None) -> str | SafeString:
    """A length of cut or travel in m, or feet."""
    if mm is None:
        return unknown()
    return (
        f"{written(ft_from_mm(mm), '.1f')} ft"
        if reads_inches(user)
        else f"{written(mm / 1000, '.2f')} m"
    )


def speed(mm_min: float | None, user: Any = None) -> str | SafeString:
    if mm_min is None:
        return unknown()
    return (
        f"{written(in_from_mm(mm_min), '.0f')} in/min"
        if reads_inches(user)
        else f"{written(mm_min, '.0f')} mm/min"
    )


def accel(mm_s2: float | None, user: Any = None) -> str | SafeString:
    if mm_s2 is None:
        return unknown()
    return (
        f"{written(in_from_mm(mm_s2), '.1f')} in/s²"
        if reads_inches(user)
        else f"{written(mm_s2, '.0f')} mm/s²"
    )


def area(mm2: float | None, user: Any = None) -> str | SafeString:
    if mm2 is None:
        return unknown()
    if reads_inches(user):
        return f"{written(in_from_mm(in_from_mm(mm2)) / 144, '.2f')} ft²"
    return (
        f"{written(mm2 / 1e6, '.3f')} m²" if mm2 >= 10_000 else f"{written(mm2 / 100, '.1f')} cm²"
    )


def weight(kg: float | None, user: Any = None) -> str | SafeString:
    if kg is None:
        return unknown()
    figure, unit = (lb_from_kg(kg), "lb") if reads_inches(user) else (kg, "kg")
    return (
        f"{written(figure, '.1f')} {unit}" if figure >= 100 else f"{written(figure, '.3g')} {unit}"
    )


def thick(mm: float, user: Any) -> str:
    """A plate's thickness: thousandths of a mm, or of an inch."""
    return (
        f"{written(in_from_mm(mm), '.3f')} in" if reads_inches(user) else f"{written(mm, '.3f')} mm"
    )


def reads_inches(user: Any) -> bool:
    return getattr(user, "units", "") == Units.INCH
