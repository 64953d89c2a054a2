"""What counts as a number of a line."""

from __future__ import annotations

import pytest

from telemetry.errors import ParseError
from telemetry.parsers.numbers import decimal, running_number


@pytest.mark.parametrize(
    ("text", "point", "value"),
    [("65.5", ".", 65.5), (" 7 ", ".", 7.0), ("-0.5", ".", -0.5), ("1e2", ".", 100.0),
     ("65,5", ",", 65.5)],
)  # fmt: skip
def test_plain_numbers_read(text: str, point: str, value: float) -> None:
    assert decimal(text, point) == value


@pytest.mark.parametrize(
    ("text", "point"),
    [
        ("65,5", "."), ("1.234,5", ","), ("nan", "."), ("inf", "."), ("1_0", "."), ("６", "."),
        ("1e999", "."), ("9" * 309, "."), ("9" * 300 + "e99", "."), (None, "."), ("", ",")],
)  # fmt: skip
def test_everything_else_is_refused(text: str | None, point: str) -> None:
    with pytest.raises(ParseError) as caught:
        decimal(text, point)
    assert caught.value.reason == "bad value"


def test_running_number_is_read_with_its_zeros() -> None:
    assert running_number(" 007 ") == 7


@pytest.mark.parametrize("text", ["-1", "+1", "1.0", "1_0", "²", "９", "9" * 19])
def test_running_number_is_digits_only(text: str) -> None:
    with pytest.raises(ParseError) as caught:
        running_number(text)
    assert caught.value.reason == "bad seq"
