"""Dates as a page writes them by the hundred."""

from __future__ import annotations

from datetime import date, datetime

import pytest

from planning.calc import dates

AT = datetime(2026, 5, 7, 9, 5, 3)  # a Thursday


@pytest.mark.parametrize(
    ("form", "said"),
    [
        (dates.DAY, "7 May"),
        (dates.DAY_YEAR, "7 May 2026"),
        (dates.WEEKDAY, "Thu 7 May"),
        (dates.WEEKDAY_YEAR, "Thu 7 May 2026"),
        (dates.LONG_DAY, "7 May"),
        (dates.LONG_WEEKDAY_YEAR, "Thursday 7 May 2026"),
        (dates.MONTH, "May 2026"),
        (dates.SHORT_MONTH, "May 2026"),
        (dates.MONTH_NAME, "May"),
        (dates.WEEKDAY_ALONE, "Thu"),
    ],
)
def test_a_date_by_its_form(form, said):
    assert dates.dated(AT, form) == said
    assert dates.dated(AT.date(), form) == said
    assert dates.day_time(AT, form) == f"{said} 09:05"


def test_only_words_that_a_form_names_are_looked_up(monkeypatch):
    asked: list[str] = []
    monkeypatch.setattr(dates, "gettext", lambda message: asked.append(message) or message)
    monkeypatch.setattr(dates, "language", lambda: "asked")  # what is written is kept by it
    assert dates.dated(date(2026, 10, 8), dates.DAY) == "8 Oct"
    assert asked == [dates.DAY, "oct"]


def test_a_language_s_own_form_may_name_other_parts(monkeypatch):
    own = {dates.DAY: "{weekday}, {day}. {month}", "October": "Oktober", "Thu": "Do"}
    monkeypatch.setattr(dates, "gettext", lambda message: own.get(message, message))
    monkeypatch.setattr(dates, "language", lambda: "own")
    assert dates.dated(date(2026, 10, 8), dates.DAY) == "Do, 8. Oktober"
