"""The duties: one table, looped over everywhere; one nobody knows is shown as unknown."""

from __future__ import annotations

import json
import re
from datetime import date
from zoneinfo import ZoneInfo

from plotly.utils import PlotlyJSONEncoder

from dashboards import theme
from dashboards.figures.days import days_figure
from dashboards.ledgers import balance
from dashboards.pages.balance import _table
from shopfloor.chart.duties import DUTIES, QUICK, SQUARE, choice_words, fitted_set, line_words
from shopfloor.models import WearSet
from shopfloor.svg import strip
from tests.dashboards import made

DAY = date(2026, 10, 8)
HOUR_US = 3_600_000_000


def base_line(code: str) -> str:
    table = strip.StripTable(
        name="North", start_us=0, end_us=2 * HOUR_US, now_us=HOUR_US, zone=ZoneInfo("UTC"),
        sets=(fitted_set(0, code, code),),
    )  # fmt: skip
    (path,) = re.findall(r'<path class="base (?!ahead)[^>]*>', str(strip.strip(table)))
    return path


def test_a_duty_nobody_knows_is_never_drawn_as_another():
    assert 'class="base fast" stroke-width="3"' in base_line("fast")
    assert 'class="base fine" stroke-width="1.25"' in base_line("fine")
    assert 'class="base unknown" stroke-width="1.5"' in base_line("odd")
    assert str(WearSet(duty="odd", current_a=80)) == "unknown duty 80 A"
    assert str(WearSet(duty="fine", current_a=50.5)) == "fine 50.5 A"


def test_minutes_of_an_unknown_duty_have_their_own_place():
    [day] = balance.days(made.days([(DAY, "North", "odd", 5.0, 7.0, 1)]), DAY, DAY)
    assert day.burnt == {"fine": 0.0, "fast": 0.0, "unassigned": 0.0, "unknown": 7.0}
    names = [bar["name"] for bar in days_figure([day], theme.LIGHT, today=DAY)["data"]]
    assert names == ["unknown duty, burnt", "unknown duty, planned"]
    table = json.dumps(_table([day], ""), cls=PlotlyJSONEncoder)
    assert "Unknown duty" in table
    assert f"{DAY}:unknown" in table


def test_each_duty_is_told_apart_in_every_drawing():
    for name in ("code", "label", "line_px", "line", "hatch", "looks"):
        assert len({getattr(duty, name) for duty in DUTIES}) == len(DUTIES), name
    assert {*SQUARE, *QUICK} == {duty.code for duty in DUTIES}
    assert SQUARE
    assert QUICK
    assert all(len(duty.code) <= WearSet._meta.get_field("duty").max_length for duty in DUTIES)


def test_duties_are_listed_in_words():
    assert (choice_words(), line_words()) == ("fine or fast", "Heavy line: fast, thin line: fine")
