"""Figures as desk pages print them. Unknown is a word, never 0."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from planning.calc import said
from planning.calc.cost import PLAN_KINDS
from planning.calc.dates import weekdays
from planning.calc.numbers import written
from shopfloor.models import DrawingPlan, NestPlan
from shopfloor.nests.warnings import refusal_of
from shopfloor.sources.queries import instant
from shopfloor.web.field_labels import called
from shopfloor.wording import clock, states, values
from shopfloor.wording.lengths import reads_inches
from shopfloor.wording.money import money_text
from shopfloor.wording.typed import MONEY, typed, with_value
from shopfloor.wording.unknown import unknown
from shopfloor.wording.visible import visible

register = template.Library()
for figure in (clock.minutes_figure, clock.behind, clock.behind_s, states.words, called, weekdays):
    register.filter(figure)
for figure, value in values.FILTERS.items():
    register.filter(figure.__name__, with_value(figure, value))
LEFT_AS_IS = ("checkbox", "hidden")


@register.filter
def alone(name: object) -> SafeString:
    """A name on paper: whatever letters it is written in, they order nothing beside them."""
    return format_html("<bdi>{}</bdi>", visible(str(name)))


@register.simple_tag(takes_context=True)
def money(context: dict[str, Any], minor: int | None, blank: str = "") -> str | SafeString:
    """Minor units in the shop's currency, digits grouped; `blank` stands for none."""
    if minor is None:
        return blank or unknown()
    digits = context["shop"].currency_digits
    return typed(money_text(minor, digits), minor / 10**digits, MONEY)


@register.filter
def signed(figure: float | None) -> str | SafeString:
    """A difference with its sign."""
    if figure is None:
        return unknown()
    words = (
        f"+{written(figure, 'g')}"
        if figure > 0
        else f"−{written(-figure, 'g')}"
        if figure < 0
        else _("no difference")
    )
    return typed(words, figure)


@register.filter
def moment(us: int | None) -> datetime | None:
    """Microseconds since 1970 as a moment."""
    return instant(us)


@register.filter
def arc_on(plan: NestPlan) -> float | None:
    """Seconds the arc burns by a plan: piercing and cutting."""
    if plan.cut_s is None or plan.pierce_s is None:
        return None
    return plan.cut_s + plan.pierce_s


@register.filter
def cost_sum(plan: NestPlan | DrawingPlan) -> int | None:
    """What a plan costs without material, in minor units; None where a part of it is unknown."""
    amounts = [plan.costs_minor.get(kind) for kind in PLAN_KINDS]
    known = [amount for amount in amounts if isinstance(amount, int)]
    return sum(known) if len(known) == len(amounts) else None


@register.filter
def leaves_open(form: Any) -> bool:
    """Whether a form has both: what it needs, and what may be left blank."""
    asked = [each.field.required for each in form if each.widget_type not in LEFT_AS_IS]
    return any(asked) and not all(asked)


@register.filter
def in_units(sentence: dict[str, Any] | str, user: Any) -> str:
    """A stored note with its lengths in the reader's unit; one without any may be plain text."""
    if isinstance(sentence, str):
        return sentence
    return said.in_units(sentence, inch=reads_inches(user))


@register.filter
def refusal(plan: NestPlan | DrawingPlan, user: Any) -> str:
    """Why there is no plan, in the reader's unit where the reason has lengths."""
    return as_read(refusal_of(plan), user)


@register.filter
def as_read(text: str, user: Any) -> str:
    """The same of one that is not stored yet."""
    return said.in_units(said.stored(text), inch=reads_inches(user))
