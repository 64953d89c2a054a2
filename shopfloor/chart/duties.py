"""What a set of wear parts is for: the duties, from the squarest cut to the quickest. What they are
called and how they are drawn is said here alone."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from django.utils.functional import Promise
from django.utils.translation import get_language, gettext_lazy
from django.utils.translation import gettext as _

from planning.calc.numbers import written
from shopfloor.svg.strip.types import BARE_PX, FittedSet

UNKNOWN: Final = "unknown"


@dataclass(frozen=True, slots=True)
class Duty:
    """`square`: it cuts what must be square. `line_px` is the strip's base line while such a set is
    in the torch; `hatch` fills bars of a chart, Plotly's letter for it ("": solid), and `looks`
    says so in words."""

    code: str
    label: str | Promise
    meaning: str | Promise
    square: bool
    line_px: float
    line: str | Promise
    hatch: str
    looks: str | Promise


DUTIES: Final = (
    Duty(
        "fine", gettext_lazy("fine"), gettext_lazy("low current, squarer, slower"), True,
        1.25, gettext_lazy("thin line"), "/", gettext_lazy("hatched"),
    ),
    Duty(
        "fast", gettext_lazy("fast"), gettext_lazy("high current, production"), False,
        3.0, gettext_lazy("heavy line"), "", gettext_lazy("solid"),
    ),
)  # fmt: skip
BY_CODE: Final = {duty.code: duty for duty in DUTIES}
CODES: Final = tuple(BY_CODE)
SQUARE: Final = tuple(duty.code for duty in DUTIES if duty.square)
QUICK: Final = tuple(duty.code for duty in DUTIES if not duty.square)


def known(code: str) -> str:
    """The code, or "unknown" where it is of no duty."""
    return code if code in BY_CODE else UNKNOWN


def duty_word(code: str) -> str:
    found = BY_CODE.get(code)
    return str(found.label) if found else _("unknown duty")


def square_words() -> str:
    """What cuts square: fine"""
    return ", ".join(map(duty_word, SQUARE))


def set_words(code: str, current_a: float) -> str:
    """fine 50 A"""
    return _set_words(code, current_a, get_language())


@lru_cache(maxsize=1000)
def _set_words(code: str, current_a: float, _language: str | None) -> str:
    """A shop has few sets, and a page writes them by the hundred. In the language in force."""
    return f"{duty_word(code)} {written(current_a, 'g')} A"


def fitted_set(from_us: int, code: str, label: str) -> FittedSet:
    """A set in the torch as the strip draws it; one of an unknown duty has the bare line."""
    found = BY_CODE.get(code)
    return FittedSet(from_us, known(code), label, found.line_px if found else BARE_PX)


def line_words() -> str:
    """Heavy line: fast, thin line: fine"""
    return ", ".join(f"{duty.line}: {duty.label}" for duty in reversed(DUTIES)).capitalize()


def choice_words() -> str:
    """fine or fast"""
    *first, last = (str(duty.label) for duty in DUTIES)
    return _("%(first)s or %(last)s") % {"first": ", ".join(first), "last": last}
