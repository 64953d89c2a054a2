"""What a new shop needs in its first days: people with a badge alone, tables without a signal,
several sheets at once, and what was entered wrongly put right."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from shopfloor.models import Change, QueueItem, Rate, Sheet, Table, User, Work
from shopfloor.stock.services import remnant_add
from shopfloor.stock.sheets import sheets_receive
from tests.shopfloor.conftest import AT


def plate(steel, count=3, **more):
    values = {"thickness_text": "1/4 in", "length_mm": 2440, "width_mm": 1220, "cost_minor": 30000}
    return sheets_receive(count=count, material=steel, **(values | more))


class TestOperators:
    def add(self, page, **told):
        values = {"first_name": "Milo", "last_name": "Brandt", "role": "operator", "badge": "B-7",
                  "pin": "5093"}  # fmt: skip
        return page.post(reverse("person_add"), values | told)

    def test_an_operator_needs_badge_and_pin_only(self, shop, sign_in, administrator):
        from shopfloor.people.badges import pin_verify

        self.add(sign_in(administrator))
        made = User.objects.get(username="milo")
        assert pin_verify(user=made, pin="5093", now=timezone.now())
        assert not made.has_usable_password()
        client = Client()
        client.post(reverse("login"), {"username": "milo", "password": ""})
        assert "_auth_user_id" not in client.session

    def test_a_second_one_of_the_name_gets_another_sign_in_name(self, shop, sign_in, administrator):
        page = sign_in(administrator)
        self.add(page)
        self.add(page, badge="B-8")
        self.add(page, badge="B-9")
        names = set(User.objects.filter(first_name="Milo").values_list("username", flat=True))
        assert names == {"milo", "milo.brandt", "milo.brandt2"}

    def test_a_desk_person_needs_a_password(self, shop, sign_in, administrator):
        said = self.add(sign_in(administrator), role="planner").content.decode()
        assert "Whoever works at a desk needs one." in said
        assert not User.objects.filter(first_name="Milo").exists()

    def test_an_easy_pin_leaves_nobody_behind(self, shop, sign_in, administrator):
        said = self.add(sign_in(administrator), pin="1234").content.decode()
        assert "too easy to guess" in said
        assert not User.objects.filter(first_name="Milo").exists()


class TestTables:
    def test_a_table_is_made_without_a_signal_and_joined_by_one(self, shop, sign_in, planner):
        page = sign_in(planner)
        page.post(reverse("table_add"), {"name": "West hall", "code": ""})
        table = Table.objects.get()
        assert (table.code, table.torches.count()) == ("west-hall", 1)
        page.post(reverse("table_rename", args=[table.pk]), {"name": "West"})
        table.refresh_from_db()
        assert (table.name, table.code) == ("West", "west-hall")

    def test_two_of_one_code_are_refused(self, north, sign_in, planner):
        said = sign_in(planner).post(reverse("table_add"), {"name": "North"}).content.decode()
        assert "already exists" in said
        assert Table.objects.count() == 1


class TestSeveralSheets:
    def put(self, page, nest, north, **told):
        values = {"table": north.pk, "sheet": "", "due_at": "", "times": 3}
        return page.post(reverse("queue_put", args=[nest.pk]), values | told)

    def test_n_go_on_the_list_at_once(self, nest, north, sign_in, planner):
        self.put(sign_in(planner), nest, north)
        assert [item.sheet for item in QueueItem.objects.all()] == [None] * 3

    def test_each_has_its_own_sheet_like_the_one_chosen(self, nest, north, steel, sign_in, planner):
        plate(steel, length_mm=3000)
        alike = plate(steel)
        self.put(sign_in(planner), nest, north, sheet=alike[1].pk)
        on = [item.sheet.code for item in QueueItem.objects.order_by("position")]
        assert on == [alike[1].code, alike[0].code, alike[2].code]

    def test_too_few_put_none_on(self, nest, north, steel, sign_in, planner):
        alike = plate(steel, count=2)
        said = self.put(sign_in(planner), nest, north, sheet=alike[0].pk).content.decode()
        assert "There are 2 free sheets like that one, not 3." in said
        assert not QueueItem.objects.exists()


class TestCorrectingASheet:
    def correct(self, page, sheet, **told):
        values = {"thickness_text": sheet.thickness_text, "length": "2440", "width": "1220",
                  "heat_number": "", "cost": "300", "why": "typed wrongly"}  # fmt: skip
        return page.post(reverse("sheet_correct", args=[sheet.pk]), values | told)

    def test_size_thickness_heat_and_cost(self, shop, steel, sign_in, owner):
        (sheet,) = plate(steel, count=1)
        self.correct(
            sign_in(owner), sheet, thickness_text="3/8 in", length="3000", heat_number="H-9",
            cost="412.50",
        )  # fmt: skip
        sheet.refresh_from_db()
        assert (sheet.thickness_mm, sheet.length_mm) == pytest.approx((9.525, 3000))
        assert sheet.area_mm2 == pytest.approx(3000 * 1220)
        assert (sheet.heat.number, sheet.cost_minor) == ("H-9", 41250)
        change = Change.objects.filter(why="typed wrongly", who="user:ann").latest("pk")
        assert "sheet" in change.table

    def test_its_remnants_follow(self, shop, steel, sign_in, owner):
        """A remnant of half a sheet at half its worth: 300.00 gives 75.00, 400.00 gives 100.00."""
        (sheet,) = plate(steel, count=1)
        rest = remnant_add(sheet=sheet, length_mm=1220, width_mm=1220, at=AT)
        assert rest.cost_minor == 7500
        self.correct(sign_in(owner), sheet, cost="400", heat_number="H-9")
        rest.refresh_from_db()
        assert (rest.cost_minor, rest.heat.number) == (10000, "H-9")

    def test_a_sheet_smaller_than_its_remnant_is_refused(self, shop, steel, sign_in, owner):
        (sheet,) = plate(steel, count=1)
        remnant_add(sheet=sheet, length_mm=2000, width_mm=1220, at=AT)
        said = self.correct(sign_in(owner), sheet, length="1000").content.decode()
        assert "A remnant of it is larger than that." in said
        assert Sheet.objects.get(pk=sheet.pk).length_mm == 2440

    def test_runs_on_it_are_reckoned_anew(self, run, sheet, sign_in, owner):
        run.sheet = sheet
        run.save()
        Work.objects.all().delete()
        self.correct(sign_in(owner), sheet, cost="400")
        assert ("run", str(run.pk)) in Work.objects.values_list("kind", "key")


class TestCorrectingARate:
    def test_one_of_today_takes_another_amount_with_the_reason(self, shop, sign_in, owner):
        rate = Rate.objects.create(kind="gas", amount_minor=100, valid_from=timezone.localdate())
        page = sign_in(owner)
        assert (
            reverse("rate_correct", args=[rate.pk]) in page.get(reverse("rates")).content.decode()
        )
        page.post(reverse("rate_correct", args=[rate.pk]), {"amount": "2.50", "why": "a slip"})
        rate.refresh_from_db()
        assert rate.amount_minor == 250
        assert Change.objects.filter(why="a slip").exists()

    def test_an_older_one_is_followed_instead(self, shop, sign_in, owner):
        rate = Rate.objects.create(kind="gas", amount_minor=100, valid_from=AT.date())
        said = sign_in(owner).post(
            reverse("rate_correct", args=[rate.pk]), {"amount": "2.50", "why": "a slip"}
        )
        assert "begin a new one instead" in said.content.decode()
        rate.refresh_from_db()
        assert rate.amount_minor == 100
