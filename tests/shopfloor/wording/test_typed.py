"""Words that know their value, as a template writes them."""

from __future__ import annotations

from datetime import date

from django.template import engines

from shopfloor.wording.typed import typed


def drawn(value) -> str:
    return engines["django"].from_string("{{ value }}").render({"value": value})


def test_words_and_units_are_escaped_once():
    said = typed("<5 & more>", 4.25, 'in"')
    assert drawn(said) == (
        '<data value="4.25" data-unit="in&quot;">&lt;5 &amp; more&gt;</data>'
    )  # fmt: skip
    assert drawn(typed("8 < Oct", date(2026, 10, 8))) == (
        '<time datetime="2026-10-08">8 &lt; Oct</time>'
    )  # fmt: skip
