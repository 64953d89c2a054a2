"""A language with a decimal comma, a point between thousands and another order of dates: words
change, values do not."""

from __future__ import annotations

from datetime import UTC, date, datetime, time

import pytest
from django.template import Context, Template
from django.utils import timezone

from dashboards import theme
from planning.calc.dates import DAY, MONTH, WEEKDAY, dated, day_time, timed
from planning.calc.numbers import filled, marked, written
from planning.calc.said import said, to_reader
from shopfloor.web.tables import sheets_of
from shopfloor.wording.counts import count
from shopfloor.wording.lengths import size
from shopfloor.wording.money import money_text
from shopfloor.wording.quantity import Reading, money, say, seconds

DATE = date(2026, 10, 8)


def test_english_has_a_point_and_commas(db):
    assert written(1234.5, ",.1f") == filled("{n:,.1f}", n=1234.5) == "1,234.5"
    assert (dated(DATE), dated(DATE, WEEKDAY), dated(DATE, MONTH)) == (
        "8 Oct 2026", "Thu 8 Oct", "October 2026",
    )  # fmt: skip


def test_numbers_have_the_marks_of_the_language(made_up):
    assert written(1234.5, ",.1f") == "1.234,5"
    assert filled("{n:,} of {m:.2f} {k} {s}", n=12345, m=0.5, k=2026, s="1.5") == (
        "12.345 of 0,50 2026 1.5"
    )
    assert count(1204, "{n} arc", "{n} arcs") == "1.204 ⟦arcs⟧"
    assert money_text(-123456, 2) == "−1.234,56"
    assert size(6.5) == "6,5 mm"
    assert say(money(123456), Reading(currency="USD", digits=2)) == "1.234,56 USD"
    assert say(seconds(4380), Reading()) == "73,0 min"
    assert marked("1,234.5") == "1.234,5"


def test_a_kept_sentence_is_written_in_the_marks_of_its_reader(made_up):
    kept = said("{0:.1f} against {share:.2f}", 12.5, share=0.25)
    assert str(kept) == "12.5 mm against 0.25"
    assert to_reader(kept, inch=False) == "12,5 mm ⟦against⟧ 0,25"
    assert to_reader(kept, inch=True) == "0,492 in ⟦against⟧ 0,25"


def test_dates_have_the_order_of_the_language(made_up):
    noon = datetime(2026, 10, 8, 12, 30)
    assert dated(DATE) == "2026 ⟦oct⟧ 8."
    assert dated(DATE, DAY) == "8. ⟦oct⟧"
    assert timed(noon) == timed(time(12, 30)) == "12.30"
    assert day_time(noon) == "8. ⟦oct⟧ ⟦Thu⟧ 12.30"


PAGE = """{% load office %}<div role="region" aria-label="Plates"><table><thead><tr><th>On</th>
<th>Area</th><th>Weight</th><th>Factor</th><th>Sheets</th><th>Paid</th></tr></thead><tbody><tr>
<td>{{ at|date:"j M Y" }}</td><td class="num">{{ mm2|area }}</td>
<td class="num">{{ kg|weight }}</td>
<td class="num">{{ factor|floatformat:3 }}</td><td class="num">{{ sheets|grouped }}</td>
<td class="num">{% money 123456 %}</td></tr></tbody></table></div>"""


def _cells():
    of = {"at": DATE, "mm2": 1234567.0, "kg": 1234.5, "factor": 1.25, "sheets": 1204}
    html = Template(PAGE).render(Context(of | {"shop": type("Shop", (), {"currency_digits": 2})}))
    [sheet] = sheets_of(html).values()
    return html, sheet.rows


def test_tables_are_saved_by_values_in_every_language(shop, made_up):
    html, rows = _cells()
    for words in ("2026 ⟦oct⟧ 8.", "1,235 m²", "1234,5 kg", "1,250", "1.204", "1.234,56"):
        assert words in html
    assert rows == [[DATE, 1.234567, 1234.5, 1.25, 1204, 1234.56]]


@pytest.mark.parametrize("words", ["1.234", "1,234", "1.234,5", "1 234"])
def test_a_number_with_a_mark_and_no_value_stays_words(shop, words):
    """It could be any of two numbers."""
    html = f'<table><tr><td class="num">{words}</td><td class="num">12</td></tr></table>'
    [sheet] = sheets_of(html).values()
    assert sheet.rows == [[words, 12]]


def test_a_column_of_a_ledger_carries_its_values(made_up):
    made = theme.number(1204.5, 1)
    assert (str(made), made.value) == ("1.204,5", 1204.5)
    assert theme.money(120450, 2) == "1.204,50"


def test_a_day_in_a_template_is_the_shops_not_greenwichs(shop):
    """01:30 on the 9th in UTC is the evening of the 8th in Chicago."""
    late = datetime(2026, 10, 9, 1, 30, tzinfo=UTC)
    with timezone.override("America/Chicago"):
        html = Template('{{ at|date:"j M Y" }} {{ at|date:"H:i" }}').render(Context({"at": late}))
    assert html == '<time datetime="2026-10-08T20:30:00">8 Oct 2026</time> 20:30'
