"""Days of the week in words."""

from __future__ import annotations

import pytest

from planning.calc.dates import weekdays


@pytest.mark.parametrize(
    ("digits", "words"),
    [
        ("12345", "Mon–Fri"),
        ("123456", "Mon–Sat"),
        ("1234567", "every day"),
        ("67", "Sat, Sun"),
        ("135", "Mon, Wed, Fri"),
        ("1237", "Mon–Wed, Sun"),
        ("6", "Sat"),
        ("", ""),
    ],
)
def test_days_in_a_row_are_named_by_the_first_and_the_last(digits, words):
    assert weekdays(digits) == words
