"""What is left of sheets: worth, age, labels, customers' drop; and plate against the lists."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.urls import reverse
from django.utils import timezone

from planning.services.work import run_all_waiting
from shopfloor.models import Posting, QueueItem, Sheet
from shopfloor.nests.plate_needed import plates, plates_short
from shopfloor.nests.queue import queue_add, queue_drop
from shopfloor.stock.services import remnant_add
from shopfloor.stock.sheets import remnants_write_off, sheet_back, sheet_leave, sheets_receive
from tests.planning.swept import today_swept
from tests.shopfloor.conftest import AT

DAY = timedelta(days=1)


@pytest.fixture
def left(sheet):
    """1000 x 625 mm of 2500 x 1250 mm: a fifth of $415.00, times 0.5 is $41.50."""
    return remnant_add(sheet=sheet, length_mm=1000, width_mm=625, at=AT)


@pytest.fixture
def customers(steel):
    whole = sheets_receive(
        count=1, material=steel, thickness_text="1/4 in", length_mm=2000, width_mm=1000,
        owner="Oxlode Bridge", received_at=AT,
    )[0]  # fmt: skip
    return remnant_add(sheet=whole, length_mm=800, width_mm=500, at=AT)


def test_a_remnant_is_worth_its_share_times_the_factor(left):
    assert left.cost_minor == 4150


@pytest.mark.parametrize(("scrap", "worth"), [(None, 0), (25, 187), (100_000, 1328)])
def test_below_the_least_size_it_is_worth_its_scrap(shop, sheet, scrap, worth):
    """600 x 250 mm of 6.35 mm at 7850 kg/m3 weigh 7.477 kg; at 25 cents a kg 186.9, so 187. Never
    above its share of what the sheet cost: 400 x 250 mm are 0.1 / 3.125 x 41500 = 1328."""
    shop.scrap_minor_kg = scrap
    shop.save()
    size = (600, 250) if scrap == 25 else (400, 250)
    assert remnant_add(sheet=sheet, length_mm=size[0], width_mm=size[1], at=AT).cost_minor == worth


def test_a_customers_drop_is_worth_nothing_to_us(customers):
    assert (customers.cost_minor, customers.owner.name) == (0, "Oxlode Bridge")


def test_written_off_goes_to_the_shop_and_to_no_job(left):
    later = AT + 181 * DAY  # 7 April 2027
    with time_machine.travel(later, tick=False):
        assert remnants_write_off(now=later) == [left]
        run_all_waiting()
    row = Posting.objects.get(cause="written off")
    assert (row.line, row.run, row.kind, row.amount_minor) == (None, None, "credit", 4150)
    assert row.month.first_day.isoformat() == "2027-04-01"
    left.refresh_from_db()
    assert (left.state, left.note) == ("written_off", "lay 181 days")


def test_taken_back_it_is_stock_again_and_the_books_are_even(left):
    sheet_leave(sheet=left, state="written_off", why="not found")
    run_all_waiting()
    run_all_waiting()
    sheet_back(sheet=left, why="found behind the rack")
    run_all_waiting()
    amounts = list(
        Posting.objects.filter(cause="written off").order_by("pk").values_list("amount_minor")
    )
    assert amounts == [(4150,), (-4150,)]
    left.refresh_from_db()
    assert left.state == "in_stock"
    with pytest.raises(ValidationError, match="not written off"):
        sheet_back(sheet=left, why="again")


def test_a_sheet_that_went_meanwhile_does_not_leave_again(left):
    """The page was drawn before the sheet was burnt: what the page knew does not count."""
    Sheet.objects.filter(pk=left.pk).update(state="cut")
    assert left.state == "in_stock"
    with pytest.raises(ValidationError, match="not in stock"):
        sheet_leave(sheet=left, state="written_off", why="not found")
    left.refresh_from_db()
    assert left.state == "cut"


def test_the_month_shows_it_under_the_shop(left):
    from planning.reports import cost_month

    with time_machine.travel(datetime(2026, 11, 10, 18, tzinfo=UTC), tick=False):
        sheet_leave(sheet=left, state="written_off", why="bent")
        run_all_waiting()
    jobs = cost_month(first_day=datetime(2026, 11, 1, tzinfo=UTC).date()).jobs
    assert [(row.job_id is None or row.job_id != row.job_id, row.actual_minor)
            for row in jobs.itertuples()] == [(True, 4150)]  # fmt: skip


@pytest.mark.parametrize("days", [179, 180])
def test_what_is_not_older_than_the_rule_stays(left, days):
    assert remnants_write_off(now=AT + days * DAY) == []


def test_what_is_promised_or_a_customers_is_not_written_off(left, customers, nest, north):
    queue_add(nest=nest, table=north, sheet=left)
    assert remnants_write_off(now=AT + 999 * DAY) == []
    assert not Sheet.objects.filter(state="written_off").exists()


def test_a_sheet_is_promised_once(nest, north, south, sheet):
    item = queue_add(nest=nest, table=north, sheet=sheet)
    with pytest.raises(ValidationError, match="promised to nest 2284-1"):
        queue_add(nest=nest, table=south, sheet=sheet)
    # Whoever comes past the service meets the database.
    with pytest.raises(IntegrityError), transaction.atomic():
        QueueItem.objects.create(nest=nest, table=south, sheet=sheet, position=1)
    queue_drop(item=item)
    assert queue_add(nest=nest, table=south, sheet=sheet).sheet == sheet


def test_the_page_says_age_worth_and_whose(left, customers, sign_in, owner, operator):
    text = sign_in(owner).get(reverse("remnants")).content.decode()
    for told in (left.code, "41.50", "Oxlode Bridge", customers.code, "It went back"):
        assert told in text, told
    assert "41.50" not in sign_in(operator).get(reverse("remnants")).content.decode()


def test_many_are_listed_in_pages_and_added_up_on_each(left, sign_in, owner):
    """Sixty more of 2 m² at 10.00, one of them of unknown worth."""
    Sheet.objects.bulk_create(
        Sheet(code=f"X{n}", parent=left.parent, material=left.material, thickness_mm=6.0,
              length_mm=2000, width_mm=1000, area_mm2=2e6, cost_minor=1000 if n else None,
              received_at=AT)
        for n in range(60)
    )  # fmt: skip
    page = sign_in(owner)
    first, second = (page.get(reverse("remnants"), {"page": n}) for n in (1, 2))
    assert [len(each.context["page_obj"]) for each in (first, second)] == [50, 11]
    for each in (first, second):
        total = each.context["total"]
        assert total.cost_minor == left.cost_minor + 59_000
        assert (total.unknown, total.area_mm2) == (1, left.area_mm2 + 60 * 2e6)
    dearest = page.get(reverse("remnants"), {"sort": "-cost_minor"}).context["page_obj"]
    assert dearest[0] == left
    whole = page.get(reverse("remnants"), {"table": "Remnants", "as": "csv"}).content.decode()
    assert whole.count("\nX") == 60


def test_a_drop_that_went_back_is_listed(customers, sign_in, planner):
    page = sign_in(planner)
    page.post(
        reverse("sheet_leave", args=[customers.pk]), {"state": "returned", "why": "drop returned"}
    )
    shown = page.get(reverse("remnants"))
    assert list(shown.context["returned"]) == [customers]
    assert not shown.context["drop"]


def test_the_old_ones_are_written_off_in_one_press(left, sign_in, planner):
    page = sign_in(planner)
    left.received_at = timezone.now() - 200 * DAY
    left.save()
    assert "Write off 1 remnant" in page.get(reverse("remnants")).content.decode()
    text = page.post(reverse("remnants_write_off"), follow=True).content.decode()
    assert f"Written off, to the shop: {left.code}." in text
    own = page.get(reverse("sheet", args=[left.pk])).content.decode()
    assert "It is in stock again" in own
    page.post(reverse("sheet_back", args=[left.pk]), {"why": "needed"})
    assert Sheet.objects.get(pk=left.pk).state == "in_stock"


def test_labels_carry_code_heat_and_no_money(left, sheet, sign_in, owner):
    page = sign_in(owner)
    text = page.get(reverse("labels"), {"sheet": [left.pk, sheet.pk]}).content.decode()
    assert f'aria-label="Code {left.code}"' in text
    assert f'aria-label="Code {sheet.code}"' in text
    assert text.count("Heat <bdi>H77</bdi>") == 2
    assert "41.50" not in text
    assert not re.search(r"\$|USD|415\.00|41500", text[text.index('class="labels"') :])


def test_plate_is_held_against_the_lists(nest, north, south, sheet, steel):
    """One sheet in stock. Two nests wait without one of their own: one goes without. The sheet
    promised to the first leaves none for the other."""
    queue_add(nest=nest, table=north)
    queue_add(nest=nest, table=south)
    [plate] = plates()
    assert (plate.sheets, plate.free, plate.listed, plate.short) == (1, 1, 2, 1)
    assert plate.nests == ["2284-1"]
    assert plates_short() == [plate]
    first = QueueItem.objects.order_by("pk")[0]
    first.sheet = sheet
    first.save()
    [plate] = plates()
    assert (plate.promised, plate.free, plate.listed, plate.short) == (1, 0, 1, 1)
    assert [one.key for one in plates_short()] == [plate.key]
    first.delete()
    assert plates_short() == []


def test_metric_plate_counts_for_a_nest_in_inches_and_others_do_not(
    nest, north, south, sheet, steel
):
    """6 mm is within a tenth of 1/4 in (6.35 mm); 8 mm is not."""
    for text in ("6 mm", "8 mm"):
        sheets_receive(count=1, material=steel, thickness_text=text, length_mm=2000, width_mm=1000)
    queue_add(nest=nest, table=north)
    rows = {plate.thickness_text: (plate.sheets, plate.listed) for plate in plates()}
    assert sorted(rows.values()) == [(1, 0), (2, 1)]
    assert plates_short() == []
    for table in (north, south):
        queue_add(nest=nest, table=table)
    assert [(plate.listed, plate.free) for plate in plates_short()] == [(3, 2)]


def test_a_customers_sheet_is_not_the_shops_to_cut(customers, nest, north):
    queue_add(nest=nest, table=north)
    [plate] = plates()
    assert (plate.sheets, plate.remnants, plate.short) == (0, 0, 1)
    assert [one.key for one in plates_short()] == [plate.key]


def test_what_nests_still_want_is_said_apart(nest, north, sheet, run):
    """Three sheets wanted, one burnt, one on the list: one is ahead."""
    nest.sheets_wanted = 3
    nest.save()
    from shopfloor.models import Contour

    Contour.objects.filter(revision__nest=nest).update(line=nest_line())
    queue_add(nest=nest, table=north)
    [plate] = plates()
    assert (plate.listed, plate.ahead) == (1, 1)


def nest_line():
    from shopfloor.models import JobLine

    return JobLine.objects.get()


def test_today_says_when_plate_is_short(nest, north, shop):
    queue_add(nest=nest, table=north)
    note = next(
        one for one in today_swept(now=timezone.now()).notes if one.head == "Plate is short"
    )
    assert note.body == "A36 1/4 in: 1 sheet queued, 0 free. Without: 2284-1."
