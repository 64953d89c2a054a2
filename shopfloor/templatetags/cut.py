"""Figures of a cut in tables: a head and a cell for each column of settings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import template
from django.utils.html import format_html

from shopfloor.chart.cut_settings import CutSetting, capitalised
from shopfloor.chart.duties import line_words
from shopfloor.wording.typed import typed

register = template.Library()
register.simple_tag(line_words, name="duty_lines")


@register.filter
def cut_head(column: Sequence[CutSetting], user: Any) -> str:
    """Kerf, and under it mm: the head of a narrow column."""
    head, unit = capitalised(str(column[0].head)), column[0].unit_for(user)
    return format_html("{},<br>{}", head, unit) if unit else head


@register.simple_tag
def cut_cell(row: Any, column: Sequence[CutSetting], user: Any) -> str:
    """A row's figures in a column, "?" where one is unknown: "3.8 / 1.5"."""
    words = " / ".join(each.figure(getattr(row, each.name), user) for each in column)
    value = getattr(row, column[0].name)
    if len(column) > 1 or not isinstance(value, int | float):
        return words
    return typed(words, column[0].value_for(value, user), column[0].unit_for(user))


@register.simple_tag
def cut_text(row: Any, setting: CutSetting, user: Any) -> str:
    """One figure with its unit."""
    return setting.text(getattr(row, setting.name), user)


@register.simple_tag
def cut_beside(row: Any, setting: CutSetting, other: Any, user: Any) -> str:
    """A row's figure with its unit where another's is not the same; blank where it is, and where
    the row has no such figure."""
    if not hasattr(row, setting.name):
        return ""
    known = getattr(row, setting.name)
    return "" if known == getattr(other, setting.name) else setting.text(known, user)


@register.simple_tag
def cut_before(change: Any, column: Sequence[CutSetting], user: Any) -> str:
    """What a column said before a change to its figures; blank where it says the same."""
    if change.before is None:
        return ""
    now, before = (cut_cell(row, column, user) for row in (change.row, change.before))
    return "" if now == before else str(before)
