"""Trials, and single rows of the chart: promoted by a person, dated, history kept."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.core.exceptions import ValidationError
from django.urls import reverse
from django.utils import timezone

from planning.services.work import run_all_waiting
from shopfloor.audit.history import history_of
from shopfloor.chart.rows import save_row, thickness_answer
from shopfloor.chart.services import chart_apply, chart_plan, in_force, row_end
from shopfloor.chart.trials import trial_add, trial_promote, trial_strike
from shopfloor.models import ChartRow, ChartTrial, Material, NestPlan, ThicknessAnswer

HEAD = b"set,duty,current_a,material,thickness_mm,speed_mm_min,pierce_delay_s\n"
QUARTER = HEAD + b"F120,fast,120,A36,6.35,2000,0.5\n"


@pytest.fixture
def trial(fast, steel, operator, north):
    return trial_add(
        wear_set=fast, material=steel, thickness_text="1/4 in", table=north, by=operator,
        current_a=120, speed_mm_min=2400, pierce_delay_s=0.4, arc_v=130, kerf_mm=1.8,
        angle_deg=3.0, severed=True, dross="loose", note="clean at the start",
    )  # fmt: skip


def test_an_angle_gives_u(trial):
    # (6.35 - 2 x 0.6) tan 3 degrees, ISO 9013's strip of 0.6 mm left out: 5.15 x 0.0524078.
    assert trial.u_mm == pytest.approx(0.2699, abs=1e-4)
    assert trial.thickness_mm == pytest.approx(6.35)


def test_a_person_makes_a_row_of_it_and_the_row_before_is_kept(trial, planner, fast):
    chart_apply(QUARTER)
    row = trial_promote(trial=trial, by=planner, max_pierce_mm=12.0)
    old, new = ChartRow.objects.order_by("valid_from")
    assert (old.speed_mm_min, old.valid_to) == (2000, new.valid_from)
    assert (new.pk, new.speed_mm_min, new.kerf_mm, new.max_pierce_mm) == (row.pk, 2400, 1.8, 12.0)
    assert new.u_mm == trial.u_mm
    trial.refresh_from_db()
    assert (trial.row, trial.promoted_by) == (row, planner)
    assert row.example is False


def test_open_nests_are_planned_anew_with_it(trial, planner, nest):
    chart_apply(QUARTER)
    run_all_waiting()
    before = NestPlan.objects.get().cut_s
    trial_promote(trial=trial, by=planner)
    assert run_all_waiting() == 1
    after = NestPlan.objects.get()
    assert after.snapshot["chart"]["speed_mm_min"] == 2400
    assert after.cut_s < before


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"severed": False}, "did not cut through"),
        ({"current_a": 100}, "the set is for 120 A"),
        ({"speed_mm_min": 60_000}, "times the power the arc has"),
    ],
)
def test_what_cannot_be_a_row_is_refused(trial, planner, change, said):
    ChartTrial.objects.filter(pk=trial.pk).update(**change)
    with pytest.raises(ValidationError, match=said):
        trial_promote(trial=trial, by=planner)
    assert not ChartRow.objects.exists()


def test_a_struck_trial_stays_and_is_no_row(trial, planner):
    trial_strike(trial=trial, why="plate was 5 mm")
    with pytest.raises(ValidationError, match="struck"):
        trial_promote(trial=trial, by=planner)
    with pytest.raises(ValidationError, match="Say why"):
        trial_strike(trial=trial, why="")


def test_it_is_promoted_once(trial, planner):
    trial_promote(trial=trial, by=planner)
    with pytest.raises(ValidationError, match="already"):
        trial_promote(trial=trial, by=planner)
    with pytest.raises(ValidationError, match="end the row"):
        trial_strike(trial=ChartTrial.objects.get(), why="no")


def test_a_row_may_begin_later(trial, planner, nest, fast, steel):
    chart_apply(QUARTER)
    run_all_waiting()
    later = timezone.now() + timedelta(days=2)
    trial_promote(trial=trial, by=planner, valid_from=later)
    assert run_all_waiting() == 0
    assert list(ChartRow.objects.order_by("valid_from").values_list("valid_to", flat=True)) == [
        later, None,
    ]  # fmt: skip
    with pytest.raises(ValidationError, match="begins later already"):
        save_row(wear_set=fast, material=steel, thickness_text="1/4 in",
                figures={"speed_mm_min": 1.0, "pierce_delay_s": 1.0})  # fmt: skip
    with pytest.raises(ValidationError, match="before now"):
        save_row(wear_set=fast, material=steel, thickness_text="1/4 in",
                figures={"speed_mm_min": 1.0, "pierce_delay_s": 1.0},
                valid_from=timezone.now() - timedelta(days=1))  # fmt: skip


def test_the_page_takes_a_trial_in_the_persons_units(fast, steel, operator, sign_in):
    operator.units = "inch"
    operator.save()
    page = sign_in(operator)
    sent = {
        "wear_set": fast.pk, "material": steel.pk, "thickness_text": "10 ga", "current_a": 120,
        "speed_mm_min": 150, "pierce_delay_s": 0.3, "kerf_mm": 0.07, "severed": "on", "note": "x",
    }  # fmt: skip
    answer = page.post(reverse("trial_add"), sent, follow=True)
    made = ChartTrial.objects.get()
    assert made.speed_mm_min == pytest.approx(150 * 25.4)
    assert made.kerf_mm == pytest.approx(0.07 * 25.4)
    # 10 gauge carbon steel: 0.1345 in (Manufacturers' Standard Gauge), 3.416 mm.
    assert made.thickness_mm == pytest.approx(3.416, abs=1e-3)
    assert (made.by, made.dross) == (operator, "")
    assert "not looked at" in answer.content.decode()
    assert page.post(reverse("trial", args=[made.pk]), {"note": "mine"}).status_code == 403


def test_cautions_stand_beside_new_figures(fast, steel, planner, sign_in, trial):
    page = sign_in(planner)
    assert "Figures nobody has cut with yet" in page.get(reverse("trial_add")).content.decode()
    Material.objects.filter(pk=steel.pk).update(caution="chromium")
    text = page.get(reverse("trial", args=[trial.pk])).content.decode()
    assert "This metal holds chromium" in text
    assert "29 CFR 1910.1026" in text
    Material.objects.filter(pk=steel.pk).update(caution="aluminium")
    assert "mind the water" in page.get(reverse("trial_add")).content.decode()


def test_a_row_is_changed_on_its_page_and_its_history_shown(planner, sign_in, nest):
    chart_apply(QUARTER)
    page = sign_in(planner)
    row = ChartRow.objects.get()
    address = reverse("chart_row", args=[row.pk])
    shown = {k: v for k, v in page.get(address).context["form"].initial.items() if v is not None}
    answer = page.post(address, {**shown, "speed_mm_min": 2100, "note": "squarer"}, follow=True)
    assert [r.speed_mm_min for r in answer.context["history"]] == [2100, 2000]
    assert "squarer" in answer.content.decode()
    # Who did it is in the trail.
    assert history_of(ChartRow, answer.context["row"].pk)[0].who == "user:ines"


def test_nearly_the_same_thickness_is_asked_once_and_remembered(nest, planner, sign_in):
    """6 mm plate against a row for 6.35 mm: the chart has no other row, so it is refused."""
    nest.thickness_mm, nest.thickness_text = 6.0, "6 mm"
    nest.save()
    chart_apply(QUARTER)
    run_all_waiting()
    assert "beyond the rows" in NestPlan.objects.get().problem
    page = sign_in(planner)
    text = page.get(reverse("nest", args=[nest.pk])).content.decode()
    assert "6 mm plate, row for 6.35" in text
    page.post(reverse("thickness_answer"), {"nest": nest.pk, "row_mm": "6.35", "by_row": "yes"})
    run_all_waiting()
    plan = NestPlan.objects.get()
    assert plan.snapshot["chart"]["speed_mm_min"] == 2000
    assert plan.snapshot["warnings"][0].startswith(
        "6 mm is cut by the row for 6.35 mm, as Ines Varga"
    )
    text = page.get(reverse("nest", args=[nest.pk])).content.decode()
    assert "6 mm plate, row for" not in text
    assert "Change it" in text


def test_the_answer_holds_for_every_nest_of_the_thickness_and_no_other(nest, steel, planner):
    chart_apply(HEAD + b"F120,fast,120,A36,5,2500,0.5\nF120,fast,120,A36,8,1500,0.5\n")
    thickness_answer(material=steel, thickness_mm=6.0, row_mm=5.0, by_row=True, by=planner)
    run_all_waiting()
    # The nest is of 1/4 in: between the rows, whatever was said of 6 mm.
    plan = NestPlan.objects.get()
    assert 1500 < plan.snapshot["chart"]["speed_mm_min"] < 2500
    thickness_answer(material=steel, thickness_mm=6.35, row_mm=5.0, by_row=False, by=planner)
    thickness_answer(material=steel, thickness_mm=6.35, row_mm=8.0, by_row=True, by=planner)
    run_all_waiting()
    assert NestPlan.objects.get().snapshot["chart"]["speed_mm_min"] == 1500
    assert ThicknessAnswer.objects.count() == 3


def test_a_row_of_its_own_goes_before_any_answer(nest, steel, planner):
    chart_apply(QUARTER + b"F120,fast,120,A36,6,2200,0.5\n")
    thickness_answer(material=steel, thickness_mm=6.35, row_mm=6.0, by_row=True, by=planner)
    run_all_waiting()
    assert NestPlan.objects.get().snapshot["chart"]["speed_mm_min"] == 2000


def test_a_row_to_come_is_in_nobodys_way(fast, steel, shop):
    chart_apply(QUARTER)
    later = timezone.now() + timedelta(days=2)
    save_row(wear_set=fast, material=steel, thickness_text="1/4 in", valid_from=later,
            figures={"speed_mm_min": 2500.0, "pierce_delay_s": 0.5})  # fmt: skip
    plan = chart_plan(QUARTER.replace(b"2000", b"1900"))
    assert [(fault.line, "begins later" in fault.message) for fault in plan.faults] == [(2, True)]
    assert plan.writes == []


def test_a_row_to_come_that_is_ended_lets_the_one_before_go_on(fast, steel, shop):
    chart_apply(QUARTER)
    later = timezone.now() + timedelta(days=2)
    row = save_row(wear_set=fast, material=steel, thickness_text="1/4 in", valid_from=later,
                  figures={"speed_mm_min": 2500.0, "pierce_delay_s": 0.5})  # fmt: skip
    row_end(row=row)
    assert ChartRow.objects.get(in_force(timezone.now())).speed_mm_min == 2000
    assert ChartRow.objects.get(in_force(later + timedelta(days=1))).speed_mm_min == 2000
