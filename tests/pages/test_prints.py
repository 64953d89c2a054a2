"""Pages as a printer gets them: nothing lies over anything else, nothing runs off the paper."""

from __future__ import annotations

import pytest
from django.urls import reverse

from shopfloor.nests.queue import queue_add
from shopfloor.svg import strip
from tests.planning import cast
from tests.shopfloor.svg.test_strip import US, a_busy_table, at

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.django_db(transaction=True),
    pytest.mark.filterwarnings("ignore:No directory at"),
]
# At 96 px to 25.4 mm, A4 and US Letter: 297 and 279.4 mm less two margins of 10 mm; 210 and
# 215.9 mm less two of 13 mm.
LYING, UPRIGHT = (1046, 980), (695, 718)
OVER = """() => {
  const shown = (e) => e.checkVisibility() && e.getClientRects().length;
  const box = (e) => e.getBoundingClientRect();
  const rows = [...document.querySelectorAll('.ledger :is(th,td)')].filter(shown);
  const notes = [...document.querySelectorAll('.marg > *')].filter(shown);
  const out = rows.filter((e) => box(e).right > innerWidth + 1)
    .map((e) => ['off the paper', e.textContent.trim()]);
  for (const text of [...document.querySelectorAll('svg text')].filter(shown)) {
    const a = box(text), b = box(text.ownerSVGElement);
    if (a.width && (a.right > Math.min(b.right, innerWidth) + 1 || a.left < b.left - 1))
      out.push(['cut off', text.textContent.trim()]);
  }
  for (const row of rows) for (const note of notes) {
    const a = box(row), b = box(note);
    const beside = a.left >= b.right - 1 || b.left >= a.right - 1;
    if (!beside && a.top < b.bottom - 1 && b.top < a.bottom - 1)
      out.push(['over a note', row.textContent.trim(), note.textContent.trim().slice(0, 40)]);
  }
  return out;
}"""


def faults(page, widths):
    """What is wrong on a page as it is printed, on each paper."""
    page.emulate_media(media="print")
    found = []
    for width in widths:
        page.set_viewport_size({"width": width, "height": 718})
        found += [(width, *fault) for fault in page.evaluate(OVER)]
    return found


@pytest.fixture
def owned(owner, job, nest, plan, sheet, run, north, operator):
    """An owner in front of a shop with a bit of everything."""
    queue_add(nest=nest, table=north, sheet=sheet)
    cast.fitting(cast.piece(label="E-7"), north, cast.NOON, by=operator)
    return owner


@pytest.mark.parametrize(
    "name",
    ["chart", "stock", "low_stock", "remnants", "checks", "queue", "jobs", "nests", "wear",
     "factors", "measures", "today", "sets", "trials", "heats", "sources"],
)  # fmt: skip
def test_a_list_is_printed_clear_of_its_margin(name, owned, signed_in):
    page = signed_in(owned)
    assert page.goto(reverse(name)).status == 200
    assert faults(page, LYING) == []


@pytest.mark.parametrize("name", ["job", "nest", "nest_routes"])
def test_a_thing_is_printed_clear_of_its_margin(name, owned, job, nest, signed_in):
    page = signed_in(owned)
    assert page.goto(reverse(name, args=[job.pk if name == "job" else nest.pk])).status == 200
    assert faults(page, LYING) == []
    assert not page.locator(".marg form:visible").count()


def test_a_run_is_printed_with_all_its_times(owned, run, signed_in):
    page = signed_in(owned)
    assert page.goto(reverse("run", args=[run.pk])).status == 200
    assert faults(page, LYING) == []


@pytest.mark.parametrize("name", ["traveler", "setup", "job_cost"])
def test_a_paper_stays_on_its_sheet(name, owned, job, nest, signed_in):
    page = signed_in(owned)
    assert page.goto(reverse(name, args=[nest.pk if name == "setup" else job.pk])).status == 200
    assert faults(page, UPRIGHT) == []


def test_no_label_of_a_strip_is_cut_off_wherever_now_stands(signed_in, owner):
    page = signed_in(owner)
    assert page.goto(reverse("today")).status == 200
    moments = [at(6) + minute * 60 * US for minute in range(0, 480, 7)]
    drawn = "".join(
        strip.strips(a_busy_table(now_us=now_us, end_us=now_us + 8 * 3600 * US))
        for now_us in moments
    )
    page.evaluate("(drawn) => document.querySelector('main').innerHTML = drawn", drawn)
    assert page.locator("svg.strip").count() == 4 * 69
    assert faults(page, (*LYING, *UPRIGHT, 390)) == []
