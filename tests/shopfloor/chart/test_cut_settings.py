"""The table of the figures of a cut agrees with the columns, the arithmetic and the papers."""

from __future__ import annotations

import dataclasses
from types import SimpleNamespace

import pytest
from django.core.exceptions import ValidationError
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from planning.calc.chart import ChartRow as CalcRow
from shopfloor.chart.cut_settings import (
    BY_NAME,
    CHART_NAMES,
    OF_ROW,
    OF_TRIAL,
    SETTINGS,
    TRIAL_NAMES,
    capitalised,
    faults,
)
from shopfloor.chart.services import chart_apply
from shopfloor.chart.trials import trial_add
from shopfloor.models import ChartRow, ChartTrial, WearSet
from shopfloor.nests import papers
from shopfloor.templatetags.cut import cut_cell

INCHES = SimpleNamespace(units="inch")
HEAD = b"set,duty,current_a,material,thickness_mm,speed_mm_min,pierce_delay_s,kerf_mm,touch_off_s\n"


def numbers(model, leave):
    return {
        field.name for field in model._meta.fields if field.get_internal_type() == "FloatField"
    } - leave


def test_every_figure_of_a_row_and_a_trial_is_in_the_table():
    assert numbers(ChartRow, {"thickness_mm"}) == {each.name for each in OF_ROW}
    assert numbers(ChartTrial, {"thickness_mm", "angle_deg"}) == set(TRIAL_NAMES)
    of_calc = {field.name for field in dataclasses.fields(CalcRow)}
    assert set(CHART_NAMES) <= of_calc
    of_set = {field.name for field in WearSet._meta.fields}
    assert {each.name for each in SETTINGS if each.kept == "set"} <= of_set


def test_what_a_row_needs_is_what_its_column_needs():
    for setting in OF_ROW:
        column = ChartRow._meta.get_field(setting.name)
        assert setting.needed == (not column.null and not column.has_default()), setting.name
    for setting in OF_TRIAL:
        assert setting.needed == (not ChartTrial._meta.get_field(setting.name).null), setting.name


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("speed_mm_min", None, "It is missing."), ("kerf_mm", None, ""), ("pierce_delay_s", 0, ""),
        ("kerf_mm", 0, "It must be above zero."), ("kerf_mm", -1, "It must be above zero."),
        ("kerf_mm", float("nan"), "It must be above zero."), ("touch_off_s", 0, ""),
        ("kerf_mm", 100, ""), ("kerf_mm", 100.1, "It must be at most 100 mm."),
    ],
)  # fmt: skip
def test_a_figure_is_judged_by_its_row(name, value, said):
    assert BY_NAME[name].fault(value) == said


def test_a_figure_is_shown_in_the_readers_unit():
    kerf, speed = BY_NAME["kerf_mm"], BY_NAME["speed_mm_min"]
    assert (kerf.figure(1.5), kerf.text(1.5), kerf.labelled()) == ("1.5", "1.5 mm", "kerf, mm")
    # 1.524 mm / 25.4 = 0.06 in
    assert (kerf.figure(1.524, INCHES), kerf.labelled(INCHES)) == ("0.060", "kerf, in")
    assert (speed.figure(2540.0, INCHES), speed.unit_for(INCHES)) == ("100", "in/min")
    assert BY_NAME["arc_v"].figure(None) == "?"
    assert BY_NAME["arc_v"].text(120.0, INCHES) == "120 V"


def test_every_figure_has_a_field_on_the_pages_that_take_it(fast, steel, planner, sign_in):
    chart_apply(HEAD + b"F120,fast,120,A36,6,2000,0.4,1.5,\n")
    page = sign_in(planner)
    row = page.get(reverse("chart_row", args=[ChartRow.objects.get().pk])).context["form"]
    assert list(row.fields)[: len(OF_ROW)] == [each.name for each in OF_ROW]
    trial = page.get(reverse("trial_add")).context["form"]
    assert set(TRIAL_NAMES) <= set(trial.fields)
    assert trial.fields["kerf_mm"].label == "Kerf measured, mm"


def test_a_model_refuses_what_the_table_refuses(fast, steel):
    row = ChartRow(wear_set=fast, material=steel, speed_mm_min=2000, pierce_delay_s=0.4, kerf_mm=0)
    with pytest.raises(ValidationError) as caught:
        row.clean()
    assert caught.value.message_dict == {"kerf_mm": ["It must be above zero."]}


def test_a_file_is_held_to_the_same_limits(shop):
    plan = chart_apply(HEAD + b"F120,fast,120,A36,6,2000,0.4,150,\nF120,fast,120,A36,3,2000,,1,\n")
    assert [fault.message for fault in plan.faults] == [
        "kerf_mm: It must be at most 100 mm.", "pierce_delay_s: It is missing.",
    ]  # fmt: skip
    assert not ChartRow.objects.exists()


def test_the_preview_shows_each_figure_that_changes(shop, planner, sign_in):
    chart_apply(HEAD + b"F120,fast,120,A36,6,2000,0.4,1.5,\n")
    file = SimpleUploadedFile("c.csv", HEAD + b"F120,fast,120,A36,6,2000,0.4,1.75,\n")
    text = sign_in(planner).post(reverse("chart_import"), {"file": file}).content.decode()
    assert "1.75" in text
    assert '<s class="pencil">1.5</s>' in text
    assert text.count('<s class="pencil">') == 1


def test_a_figure_that_came_later_voids_no_paper_until_it_is_known(nest, plan, monkeypatch):
    revision = nest.revisions.get()
    before = papers.setup_said(nest, revision, plan)
    later = dataclasses.replace(BY_NAME["u_mm"], name="bevel_deg", added_later=True)
    monkeypatch.setattr(papers, "ON_SETUP_SHEET", (*papers.ON_SETUP_SHEET, later))
    assert papers.setup_said(nest, revision, plan) == before
    plan.snapshot["chart"] = plan.snapshot.get("chart", {}) | {"bevel_deg": 30.0}
    assert papers.setup_said(nest, revision, plan) != before


def test_faults_name_what_is_missing():
    assert faults({"speed_mm_min": 1000.0}) == {"pierce_delay_s": "It is missing."}


def test_a_symbol_keeps_its_letter_where_a_label_begins():
    assert [capitalised(label) for label in ("u expected, mm", "kerf, mm", "u", "u, mm")] == [
        "u expected, mm", "Kerf, mm", "u", "u, mm",
    ]  # fmt: skip


def test_a_trial_shows_beside_it_only_what_a_row_has(fast, steel, planner, sign_in):
    """A row's current is its set's: nothing stands beside the trial's."""
    chart_apply(HEAD + b"F120,fast,120,A36,6,2000,0.4,1.5,\n")
    made = trial_add(
        wear_set=fast, material=steel, thickness_text="6 mm", by=planner, current_a=120,
        speed_mm_min=1800, pierce_delay_s=0.4,
    )  # fmt: skip
    text = sign_in(planner).get(reverse("trial", args=[made.pk])).content.decode()
    assert text.count("row in force 2000 mm/min") == 1
    assert "row in force <" not in text
    assert "row in force unknown" not in text


def test_a_cell_carries_its_value_in_the_readers_unit():
    row = SimpleNamespace(kerf_mm=2.54, arc_v=None, pierce_height_mm=3.8, cut_height_mm=1.5)
    kerf = cut_cell(row, [BY_NAME["kerf_mm"]], INCHES)
    assert (str(kerf), round(kerf.value, 9), kerf.unit) == ("0.100", 0.1, "in")
    assert cut_cell(row, [BY_NAME["arc_v"]], INCHES) == "?"
    heights = [BY_NAME["pierce_height_mm"], BY_NAME["cut_height_mm"]]
    assert cut_cell(row, heights, None) == "3.8 / 1.5"
