"""`verify` of the shop's own records: each damage done by hand is found and named."""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from django.conf import settings
from django.core.files.base import ContentFile
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.urls import reverse

from planning.reports.notes.at_desk import of_verification
from planning.reports.notes.reading import of_found
from planning.services import verification
from planning.services.months import month_close
from planning.services.piece_figures import piece_figures
from planning.services.run_figures import run_figures
from shopfloor.audit.triggers import audit_sync
from shopfloor.models import (
    ArcAssignment,
    Heat,
    Month,
    NestRevision,
    PartResult,
    Piece,
    Posting,
    Run,
    Segment,
    User,
    Verification,
    Work,
)
from shopfloor.site.services import shop_set
from shopfloor.stock.sheets import certificate_keep
from telemetry.locks import Busy, Lock
from telemetry.models import Arc, GoneArc
from tests.planning import cast

pytestmark = pytest.mark.django_db
LATER = datetime(2026, 11, 2, tzinfo=UTC)


@pytest.fixture
def books(north, operator, owner):
    """Two finished runs with costs, the first of a month that is closed, an electrode that failed
    after both, parts, and a certificate."""
    cast.rate("machine", 9600)
    cast.rate("labour", 3000)
    _, [line] = cast.job()
    revision = cast.nest(operator, [(line, 1e6, 100)] * 4)
    NestRevision.objects.update(bytes_sha256=hashlib.sha256(b"M30\n").hexdigest())
    piece = cast.piece("electrode", 1900, 600)
    stay = cast.fitting(piece, north, cast.NOON, by=operator)
    runs = []
    for start in (cast.NOON, cast.at(cast.NOON, 30 * 86_400)):
        sheet = cast.sheet(60_000)
        run = cast.run(revision, north, start=start, operator=operator, sheet=sheet)
        cast.arcs(run, [(4 * n, 4 * n + 2, n % 4 + 1) for n in range(20)], start=start)
        PartResult.objects.create(
            run=run, line=line, outcome="good", quantity=4, by=operator, at=start
        )
        run_figures(key=str(run.pk), payload={})
        runs.append(run)
        if len(runs) == 1:
            month_close(first_day=date(2026, 10, 1), by=owner, now=LATER)
    stay.removed_at, stay.removal_state = cast.at(runs[1].opened_at, 3000), "failed"
    stay.save()
    Piece.objects.update(state="failed")
    piece_figures(key=str(piece.pk), payload={})
    heat = Heat.objects.create(number="H-77", material=cast.material())
    certificate_keep(heat=heat, raw=b"%PDF-1.7 melt")
    Work.objects.all().delete()
    Arc.objects.update(feed_id=0)  # of no source of this shop: arcs as such are looked at elsewhere
    return runs


def found() -> dict[str, str]:
    report = verification.verify_all(now=LATER)
    return {finding.what: finding.text for finding in report.findings}


def the(**where):
    return Posting.objects.filter(**where).order_by("pk").first()


def test_a_clean_shop_has_nothing_to_say(books):
    assert found() == {}


def test_a_posting_edited_by_sql_is_found_in_its_run(books):
    row = the(run=books[1], kind="machine")
    Posting.objects.filter(pk=row.pk).update(amount_minor=row.amount_minor + 1)
    text = found()["books differ"]
    assert str(books[1].pk)[:8] in text
    assert f"machine {row.amount_minor + 1} for {row.amount_minor}" in text


def test_a_posting_that_is_gone_is_found_too(books):
    Posting.objects.filter(run=books[1], kind="material").delete()
    assert "material 0 for 60000" in found()["books differ"]


def test_a_run_whose_figures_wait_is_passed_over(books):
    Posting.objects.filter(run=books[1], kind="material").delete()
    Work.objects.create(kind="run", key=str(books[1].pk), wanted_at=LATER)
    assert found() == {}


@pytest.mark.parametrize("change", [{"amount_minor": 1}, {"kind": "gas"}, {"cause": "crash"}])
def test_a_closed_month_that_changed_is_found(books, change):
    Posting.objects.filter(pk=the(month__first_day=date(2026, 10, 1)).pk).update(**change)
    assert "October 2026 is closed" in found()["closed month changed"]


def test_two_changes_that_cancel_out_in_a_closed_month_are_found(books):
    first, second = Posting.objects.filter(month__first_day=date(2026, 10, 1))[:2]
    for row, more in ((first, 100), (second, -100)):
        Posting.objects.filter(pk=row.pk).update(amount_minor=row.amount_minor + more)
    assert "closed month changed" in found()


def test_a_month_closed_before_prints_were_kept_is_held_to_its_total(books):
    month = Month.objects.get(first_day=date(2026, 10, 1))
    del month.printed["postings"]
    month.save()
    assert found() == {}
    row = the(month=month)
    Posting.objects.filter(pk=row.pk).update(amount_minor=row.amount_minor + 5)
    assert "closed month changed" in found()


def test_wear_that_is_not_charged_at_its_price_is_found(books):
    row = the(piece__isnull=False, month__first_day=date(2026, 11, 1))
    Posting.objects.filter(pk=row.pk).update(amount_minor=row.amount_minor - 7)
    assert "charged 1893, paid 1900" in found()["wear differs"]


def test_a_reversal_of_another_amount_is_found(books):
    row = the(run=books[1], kind="machine")
    made = Posting(month=row.month, shift_date=row.shift_date, kind="machine", run=row.run,
                   key=row.key.replace(":v1", ":v2"), line=row.line, evidence="entered",
                   amount_minor=-row.amount_minor + 1, reverses=row)  # fmt: skip
    made.save()
    told = found()
    assert f"posting {made.pk} (machine)" in told["reversal wrong"]
    assert "books differ" in told


def test_a_file_that_is_gone_changed_or_nobodys_is_told(books):
    heat = Heat.objects.get()
    path = Path(heat.certificate.path)
    path.write_bytes(b"%PDF-1.7 melted")
    assert "no longer what was uploaded" in found()["file changed"]
    path.unlink()
    assert "certificate of heat H-77" in found()["file missing"]
    Heat.objects.update(certificate="", certificate_sha256="")
    heat.certificate.storage.save("drawings/left.dxf", ContentFile(b"0"))
    report = verification.verify_all(now=LATER)
    assert [(f.what, f.fault) for f in report.findings] == [("leftover files", False)]
    assert "drawings/left.dxf" in report.findings[0].text


def test_a_program_that_changed_is_found(books):
    NestRevision.objects.update(program=b"M2\n")
    assert "nest N-1, revision 1" in found()["program changed"]


def test_an_arc_that_is_gone_leaves_its_assignment_told(books):
    arc = Arc.objects.order_by("pk").first()
    arc.delete()
    assert arc.key in found()["assignments without an arc"]
    GoneArc.objects.create(key=arc.key, table="north", torch="1", on_us=0, changed_us=1)
    report = verification.verify_all(now=LATER)
    waiting = next(f for f in report.findings if f.what == "assignments waiting")
    assert not waiting.fault
    assert ArcAssignment.objects.count() == 40


@pytest.mark.parametrize(
    ("change", "words"),
    [({"closed_at": None}, "over without an end"), ({"state": "open"}, "is not over"),
     ({"closed_at": datetime(2026, 1, 1, tzinfo=UTC)}, "ended before it began")],
)  # fmt: skip
def test_runs_that_contradict_themselves_are_found(books, change, words):
    Run.objects.filter(pk=books[1].pk).update(**change)
    assert words in found()["runs inconsistent"]


def test_segments_that_contradict_themselves_are_found(books):
    Segment.objects.update(ended_at=None)
    told = found()
    assert "a segment of them goes on" in told["runs inconsistent"]
    assert "2 segments go on at once on North, torch 1" in told["segments inconsistent"]


def test_more_parts_than_the_program_cuts_are_found(books):
    PartResult.objects.filter(run=books[0]).update(quantity=5)
    assert f"run {str(books[0].pk)[:8]} of job J-1: 5 of 4" in found()["too many parts"]
    PartResult.objects.filter(run=books[0]).update(quantity=-1)
    assert ": -1" in found()["parts below zero"]


def test_a_trigger_that_is_not_there_is_found(books):
    audit_sync()
    if connection.vendor == "sqlite":
        drop = 'DROP TRIGGER "kerfbook_audit_shopfloor_rate_update"'
    else:
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT tgname FROM pg_trigger JOIN pg_class c ON c.oid = tgrelid "
                "WHERE relname = 'shopfloor_rate' AND tgname LIKE %s",
                ["%update%"],
            )
            drop = f'DROP TRIGGER "{cursor.fetchone()[0]}" ON shopfloor_rate'
    with connection.cursor() as cursor:
        cursor.execute(drop)
    assert "shopfloor_rate" in found()["audit incomplete"]


@pytest.mark.skipif(connection.vendor != "sqlite", reason="PostgreSQL's types hold by themselves")
def test_money_that_is_no_integer_is_found(books):
    with connection.cursor() as cursor:
        cursor.execute("UPDATE shopfloor_sheet SET cost_minor = 1.5")
    told = found()
    assert "not an integer" in told
    assert "the books of runs cannot be worked out" in told["records unreadable"]


def test_the_command_keeps_its_result_and_says_it_by_status(books, capsys):
    call_command("verify")
    assert capsys.readouterr().out.startswith("Everything agrees: ")
    row = the(run=books[1], kind="machine")
    Posting.objects.filter(pk=row.pk).update(amount_minor=row.amount_minor + 1)
    with pytest.raises(SystemExit) as ended:
        call_command("verify", "--json")
    assert ended.value.code == 1
    said = json.loads(capsys.readouterr().out)
    kept = Verification.objects.first()
    assert said["faults"] == kept.faults == 1
    assert said["findings"] == kept.findings
    assert Verification.objects.count() == 2


def test_two_at_once_are_one_too_many(books):
    lock = Lock(settings.DATA_DIR / "verify.lock", "x")
    try:
        with pytest.raises(Busy):
            verification.verification_make(asked="command")
    finally:
        lock.release()
    assert not Verification.objects.exists()


def test_old_results_are_let_go(db):
    for n in range(verification.KEPT + 3):
        Verification.objects.create(asked="night", started_at=LATER - timedelta(days=n + 1))
    verification.verification_make(asked="command")
    assert Verification.objects.count() == verification.KEPT


@pytest.mark.parametrize(
    ("hour", "age_h", "wanted"),
    [(2, None, True), (2, 19, False), (2, 21, True), (12, 21, False), (12, 37, True)],
)
def test_it_is_wanted_once_a_night_or_by_day_where_the_night_was_missed(shop, hour, age_h, wanted):
    now = datetime(2026, 10, 8, hour + 5, tzinfo=UTC)  # Chicago, summer time
    if age_h is not None:
        Verification.objects.create(asked="night", started_at=now - timedelta(hours=age_h))
    assert verification.verification_nightly(now=now) is wanted
    assert Work.objects.filter(kind="verify").exists() is wanted


def test_what_was_found_stands_on_its_page_in_healthz_and_on_today(
    books, administrator, client: Client
):
    address = reverse("verification")
    client.force_login(administrator)
    assert b"Never verified yet" in client.get(address).content
    assert client.get("/healthz").json()["verified"] == "never"
    Heat.objects.update(certificate_sha256="0" * 64)
    verification.verification_make(asked="button", by=administrator)
    page = client.get(address).content.decode()
    assert "1 fault found" in page
    assert "certificate of heat H-77" in page
    health = client.get("/healthz").json()
    assert health["verified"] == "faults"
    assert 0 <= health["verified_age_s"] < 60
    [note] = of_found(of_verification(), [], datetime.now(UTC), UTC)
    assert note.kind == "now"
    assert "1 fault found when the records were verified" in note.body


def test_a_press_of_the_button_asks_for_one_and_the_page_says_how_far_it_is(
    administrator, client: Client
):
    client.force_login(administrator)
    address = reverse("verification")
    client.post(address)
    work = Work.objects.get(kind="verify")
    assert (work.key, work.payload) == ("button", {"by": administrator.pk})
    assert b"It starts in a moment" in client.get(address).content
    Work.objects.all().delete()
    lock = Lock(settings.DATA_DIR / "verify.lock", "x")
    try:
        verification._say(2, 12, "decoding the journal of north/live")
        page = client.get(address).content.decode()
    finally:
        lock.release()
    assert "decoding the journal of north/live (step 3 of 12)" in page
    assert "Verify now" not in page
    assert User.objects.count() == 1


@pytest.mark.parametrize(
    ("days", "asked", "faulty", "thins"),
    [(90, "night", False, True), (None, "night", False, False), (90, "button", False, False),
     (90, "night", True, False)],
)  # fmt: skip
def test_the_journal_is_thinned_at_night_where_the_shop_wants_it_and_all_agrees(
    books, monkeypatch, days, asked, faulty, thins
):
    asked_for = []
    monkeypatch.setattr(verification, "thin", lambda *args: asked_for.append(args) or 2)
    shop_set(journal_days=days)
    if faulty:
        Heat.objects.update(certificate_sha256="0" * 64)
    row = verification.verification_make(asked=asked)
    assert bool(asked_for) is thins
    assert row.counts.get("thinned", 0) == (2 * len(asked_for))
    for _, before_us, now in asked_for:
        assert before_us == (now - timedelta(days=90)).timestamp() * 1e6
