from __future__ import annotations

import pytest

from dashboards import theme
from dashboards.theme import DARK, LIGHT
from planning.reports.shapes import Coverage


@pytest.mark.parametrize(
    ("minor", "digits", "whole", "said"),
    [
        (123_456, 2, False, "1,234.56"),
        (123_450, 2, True, "1,235"),  # half goes up
        (123_449, 2, True, "1,234"),
        (-5, 2, False, "−0.05"),
        (-5, 2, True, "0"),  # never a minus before nothing
        (-50, 2, True, "−1"),
        (1_234, 0, False, "1,234"),
        (1_234_567, 3, False, "1,234.567"),
        (None, 2, False, "unknown"),
        (0, 2, False, "0.00"),
    ],
)
def test_money_is_written_from_whole_minor_units(minor, digits, whole, said):
    assert theme.money(minor, digits, whole=whole) == said


@pytest.mark.parametrize(
    ("minor", "said"), [(77_400, "+774"), (-14_300, "−143"), (0, "0"), (40, "0"), (None, "unknown")]
)
def test_a_difference_has_its_sign(minor, said):
    assert theme.signed(minor, 2) == said


@pytest.mark.parametrize(
    ("seconds", "said"),
    [
        (None, "unknown"), (0, "0 s"), (59.4, "59 s"), (60, "1 min"), (3569, "59 min"),
        (3571, "1 h 00 min"), (9720, "2 h 42 min"),
    ],
)  # fmt: skip
def test_a_span_is_said_as_people_say_it(seconds, said):
    assert theme.span(seconds) == said


@pytest.mark.parametrize(
    ("seconds", "said"), [(-3, "0 s"), (1080, "18 min"), (11400, "3 h 10 min"), (345_601, "4 days")]
)
def test_an_age_is_said_in_words(seconds, said):
    assert theme.age(seconds) == said


def test_a_share_never_stands_without_its_base():
    assert theme.percent(0.512, "5 h 20") == "51 % of 5 h 20"
    assert theme.percent(None, "0 s") == "share of 0 s unknown"


def test_what_amounts_rest_on_is_told_with_the_base():
    rests_on = Coverage(measured=75_000, entered=24_900, unknown=100)
    said = theme.coverage_words(rests_on, 2, 100_000)
    assert said == "Of 1,000 charged: 75 % measured, 25 % entered, under 1 % unknown."
    assert theme.coverage_words(Coverage(), 2, 0) == "Nothing is posted yet."


def test_what_was_credited_stands_beside_what_was_charged():
    """950 charged and 50 taken back are 1,000 of amounts and 900 in all."""
    said = theme.coverage_words(Coverage(measured=95_000, entered=5_000), 2, 90_000)
    assert said == "Of 950 charged and 50 credited: 95 % measured, 5 % entered."


@pytest.mark.parametrize(
    ("chosen", "cookies", "palette"),
    [
        ("", {}, LIGHT),
        ("", {"kerfbook-shade": "dark"}, DARK),
        ("light", {"kerfbook-shade": "dark"}, LIGHT),
        ("dark", {}, DARK),
        ("", {"kerfbook-shade": "<script>"}, LIGHT),
    ],
)
def test_a_persons_choice_of_colours_comes_before_the_devices(chosen, cookies, palette):
    assert theme.palette_of(chosen, cookies) is palette


def luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour, WCAG 2.2, definition of "relative luminance"."""
    parts = [int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)]
    r, g, b = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    """Contrast ratio, WCAG 2.2, success criterion 1.4.3."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("palette", [LIGHT, DARK])
def test_words_in_figures_can_be_read(palette):
    for colour in (palette.ink, palette.ink2, palette.pencil, palette.off):
        assert contrast(colour, palette.paper) >= 4.5  # 1.4.3, text
    assert contrast(palette.edge, palette.paper) >= 3.0  # 1.4.11, lines that matter
