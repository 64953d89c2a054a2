"""Travelers and setup sheets: what they say, and that their codes are what terminals know."""

from __future__ import annotations

import re
from types import SimpleNamespace

import pytest
import segno
from django.urls import reverse

from shopfloor.jobs.services import line_add
from shopfloor.nests.papers import paper_code, paper_read, setup_figures
from shopfloor.nests.queue import queue_add
from shopfloor.nests.services import revision_add
from shopfloor.svg.codes import code_svg
from tests.shopfloor.conftest import PROGRAM


def test_a_setup_sheet_names_sheet_heat_and_figures(nest, plan, sheet, north, sign_in, operator):
    plan.snapshot["chart"] = {"speed_mm_min": 2400.0, "cut_height_mm": 1.5, "gas": "air"}
    plan.save()
    queue_add(nest=nest, table=north, sheet=sheet)
    text = sign_in(operator).get(reverse("setup", args=[nest.pk])).content.decode()
    for told in ("H77", sheet.code, "2400", "1.5", "fast 120 A", "plates.nc", "0.6 min"):
        assert told in text, told
    assert "does not say that a machine is safe" in text


def test_a_figure_the_chart_lacks_is_unknown(nest, plan, sign_in, operator):
    shown = sign_in(operator).get(reverse("setup", args=[nest.pk]))
    figures = {row["label"]: row["value"] for row in shown.context["figures"]}
    assert figures["cutting speed, mm/min"] == "2400"
    assert figures["cut height, mm"] == "unknown"


def test_what_is_unknown_has_the_readers_unit_too(nest, plan):
    plan.snapshot["chart"] = {"kerf_mm": 2.54}
    rows = {
        row["label"]: row["value"] for row in setup_figures(plan, SimpleNamespace(units="inch"))
    }
    assert (rows["kerf, in"], rows["cut height, in"]) == ("0.1", "unknown")
    assert not [label for label in rows if "mm" in label]


def test_chromium_has_its_caution(nest, steel, sign_in, operator):
    page = sign_in(operator)
    url = reverse("setup", args=[nest.pk])
    assert "hexavalent" not in page.get(url).content.decode()
    steel.caution = "chromium"
    steel.save()
    assert "hexavalent" in page.get(url).content.decode()


def test_another_nests_place_on_the_list_is_not_taken(nest, north, sign_in, operator):
    url = reverse("setup", args=[nest.pk])
    assert sign_in(operator).get(url, {"item": "999999"}).status_code == 404
    assert sign_in(operator).get(url, {"item": "x"}).status_code == 200


def test_a_traveler_carries_a_code_for_each_line(job, sign_in, operator):
    text = sign_in(operator).get(reverse("traveler", args=[job.pk])).content.decode()
    assert 'aria-label="Code K-2284.t1"' in text
    assert 'aria-label="Code K-2284/1"' in text


@pytest.mark.parametrize("text", ["K-2284/1", "<b>&", "Tür 5"])
def test_a_code_holds_its_text_and_shows_it_as_text(text):
    drawn = str(code_svg(text))
    # The same modules as the library draws for the same text; reading them back is its business.
    assert segno.make(text, error="m", micro=False).svg_inline(scale=2.6, light="#fff") in drawn
    assert "<b>" not in drawn


@pytest.mark.django_db
def test_a_nest_is_planned_in_the_background(nest, fast, steel, north, sign_in, owner):
    """From upload to page. The plan's arithmetic is checked where it is done; here it is that
    the wish reaches planning and its figures reach the page."""
    from planning.services.work import run_all_waiting
    from shopfloor.chart.services import chart_apply

    chart_apply(
        b"set,material,thickness_mm,speed_mm_min,pierce_delay_s,max_pierce_mm\n"
        b"F120,A36,5,2900,0.4,20\nF120,A36,8,2000,0.6,20\n"
    )
    page = sign_in(owner)
    url = reverse("nest", args=[nest.pk])
    assert page.get(url).context["plan"] is None
    run_all_waiting()
    plan = page.get(url).context["plan"]
    assert plan.problem == ""
    assert plan.pierces == 3
    assert 3 * 0.4 < plan.pierce_s < 3 * 0.6
    # Two squares and a hole: 800 + 2 pi 10 = 862.83 mm, cut no faster than the thinner row says.
    assert plan.cut_mm == pytest.approx(862.83, abs=0.01)
    assert plan.cut_s > 862.83 / 2900 * 60


MONEY = ("cost", "price", "$", "USD", "minor", "1,234", "quote")


@pytest.mark.parametrize("paper", ["traveler", "setup"])
def test_no_money_stands_on_a_paper(paper, nest, job, plan, sheet, north, sign_in, owner):
    """Drawn up by someone who may see all of it, of a job and a sheet that have prices."""
    job.quote_minor = 123_456
    job.save()
    queue_add(nest=nest, table=north, sheet=sheet)
    of = {"traveler": job.pk, "setup": nest.pk}[paper]
    text = sign_in(owner).get(reverse(paper, args=[of])).content.decode()
    page = text[text.index("<main") : text.index("</main>")].lower()
    assert not [word for word in MONEY if word.lower() in page]
    assert "12.34" not in page
    assert not re.search("415.00|41500", re.sub(r"<svg.*?</svg>", "", page, flags=re.DOTALL))


def test_printing_the_same_again_is_the_same_paper(job, sign_in, operator):
    page, url = sign_in(operator), reverse("traveler", args=[job.pk])
    first = page.get(url).context["paper"]
    assert page.get(url).context["paper"] == first
    assert "Traveler number 1" in page.get(url).content.decode()


def test_a_changed_line_voids_the_traveler_before_it(job, steel, sign_in, operator):
    page, url = sign_in(operator), reverse("traveler", args=[job.pk])
    old = paper_code(page.get(url).context["paper"])
    assert (old, paper_read(old)) == ("K-2284.t1", ("K-2284", ""))
    line_add(job=job, part="cover", quantity=2, material=steel, thickness_text="1/4 in")
    assert "changed since it was printed" in paper_read(old)[1]
    new = paper_code(page.get(url).context["paper"])
    assert new == "K-2284.t2"
    assert "number 2 is the newest" in paper_read(old)[1]
    assert paper_read(new) == ("K-2284", "")


def test_a_changed_path_voids_the_setup_sheet_and_a_comment_does_not(
    nest, planner, north, sign_in, operator
):
    page, url = sign_in(operator), reverse("setup", args=[nest.pk])
    code = paper_code(page.get(url).context["paper"])
    assert code == "2284-1.s1"
    revision_add(nest=nest, file_name="a.nc", raw=PROGRAM.replace(b"two", b"2"), by=planner)
    assert paper_read(code) == ("2284-1", "")
    revision_add(nest=nest, file_name="b.nc", raw=PROGRAM.replace(b"X300", b"X310"), by=planner)
    assert "changed since it was printed" in paper_read(code)[1]
    assert paper_code(page.get(url).context["paper"]) == "2284-1.s2"


def test_other_figures_to_dial_in_void_the_setup_sheet(nest, plan, sign_in, operator):
    page, url = sign_in(operator), reverse("setup", args=[nest.pk])
    code = paper_code(page.get(url).context["paper"])
    plan.snapshot["chart"]["speed_mm_min"] = 2500.0
    plan.save()
    assert "void" in paper_read(code)[1]


def test_what_goes_back_to_an_earlier_wording_is_a_new_paper(job, sign_in, operator):
    """The first paper stays void: its holder may have seen the second."""
    page, url = sign_in(operator), reverse("traveler", args=[job.pk])
    title = job.title
    for said in (title, "Other plates", title):
        job.title = said
        job.save()
        paper = page.get(url).context["paper"]
    assert paper.number == 3
    assert "void" in paper_read("K-2284.t1")[1]


@pytest.mark.parametrize("code", ["K-2284", "K-2284.t99", "2284-1.s1", "x.t1", "a.b.c"])
def test_a_code_that_is_no_papers_is_left_as_it_is(code, job):
    assert paper_read(code) == (code, "")
