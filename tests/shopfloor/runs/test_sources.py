"""From lines through intake to runs: wrong clocks, two sources on one table, late lines."""

from __future__ import annotations

from datetime import timedelta

import pytest

from shopfloor.models import ArcAssignment, EnteredCount, Run, Work
from shopfloor.runs.arcs import from_us, master_arcs, to_us
from shopfloor.runs.silences import source_silences
from shopfloor.runs.unassigned import unassigned_clusters
from shopfloor.sources.services import clock_put_right, source_register
from telemetry.feeds.push.receipt import Delivery, _inboxes, push_take
from telemetry.journal import Kind, Record
from telemetry.models import Alarm, Arc, Event, Feed
from telemetry.selectors import clock_estimate
from telemetry.services import push_token_find, push_token_issue
from telemetry.worker import run_once
from telemetry.worker.rebuild import rebuild
from tests.markup import worded
from tests.shopfloor.floor_shop import MINUTE, SECOND, T0
from tests.telemetry.stored import everything

DAY, HOUR = timedelta(days=1), timedelta(hours=1)

LOG = """table = "north"
[source]
kind = "push"
[line]
format = "columns"
columns = ["seq", "time", "signal", "value"]
[time]
zone = "UTC"
[signals]
arc_on = ["ON"]
arc_off = ["OFF"]
program = ["PROGRAM"]
"""
CONTACT = """table = "north"
[source]
kind = "push"
[line]
format = "level"
columns = ["time", "level"]
[time]
zone = "UTC"
[knows]
contact = "transfer"
"""


class Source:
    """A pushed source; lines are heard at a true time and stamped `slow` before it."""

    def __init__(self, name, text):
        _inboxes.clear()
        self.feed = source_register(name=name, text=text, by="theo").feed
        self.token = push_token_find(feed_name=name, token=push_token_issue(feed=self.feed))
        self.sequence, self.at, self.seq = 1, 0, 0

    def hear(self, moments, *, slow=timedelta(0), numbered=True):
        """(moment, rest of the line), each delivered by itself as it happens."""
        body = b""
        for moment, rest in moments:
            self.seq += 1
            head = f"{self.seq}," if numbered else ""
            raw = f"{head}{(moment - slow).replace(tzinfo=None).isoformat()},{rest}\n".encode()
            meta = {"source": "live", "at": self.at}
            body += Record(Kind.DATA, self.sequence, to_us(moment), 1, meta, raw).pack()
            self.sequence, self.at = self.sequence + 1, self.at + len(raw)
        push_take(token=self.token, body=body, delivery=Delivery("f" * 32))
        self.take()

    def take(self):
        run_once([Feed.objects.get(pk=self.feed.pk)])

    def page(self, client, user):
        client.force_login(user)
        return client.get(f"/sources/at/{self.feed.name}/").content.decode()


def burns(start, lengths, *, gap_s=30.0, on="ON,", off="OFF,"):
    at, found = start, []
    for seconds in lengths:
        found += [(at, on), (at + timedelta(seconds=seconds), off)]
        at += timedelta(seconds=seconds + gap_s)
    return found


def runs_of_arcs():
    rows = ArcAssignment.objects.select_related("segment").order_by("arc_key")
    return {row.arc_key: str(row.segment.run_id) for row in rows if row.segment}


@pytest.fixture
def slow_clock(floor):
    """Run 1 ended 09:58, run 2 opened 10:02 and burnt from 10:03; the controller is 7 min slow,
    so its arcs are stamped from 09:56 on."""
    nine = T0.replace(hour=9)
    first = floor.done("start", nine, queue_item=floor.queue(floor.nest("N-1")).pk)["run"]
    floor.done("finish", nine + 58 * MINUTE, exceptions=[])
    second = floor.done(
        "start", nine + 62 * MINUTE, queue_item=floor.queue(floor.nest("N-2", contours=12)).pk
    )["run"]
    source = Source("log", LOG)
    source.hear(burns(nine + 63 * MINUTE, [45.0] * 12, gap_s=45.0), slow=7 * MINUTE)
    floor.follow()
    return source, first, second


def test_a_slow_clock_is_shown_and_one_press_gives_all_arcs_to_their_run(
    floor, slow_clock, client, administrator
):
    source, first, second = slow_clock
    assert set(runs_of_arcs().values()) == {first, second}  # 09:56 lay in the first
    assert clock_estimate(source.feed).median_us == 420_000_000
    page = source.page(client, administrator)
    assert "420.0 s behind this machine" in page
    assert "The clock of log seems 420 s slow." in worded(client.get("/sources/").content.decode())
    raw = set(Event.objects.values_list("key", "stamp"))
    client.post(f"/sources/at/{source.feed.name}/act/", {"do": "clock_now", "since": ""})
    source.take()
    floor.follow()
    assert set(runs_of_arcs().values()) == {second}
    assert len(runs_of_arcs()) == 12
    assert from_us(Arc.objects.order_by("on_us").first().on_us) == T0.replace(hour=10, minute=3)
    assert set(Event.objects.values_list("key", "stamp")) == raw
    before, held = everything(), runs_of_arcs()
    rebuild(Feed.objects.get(pk=source.feed.pk))
    floor.follow()
    assert everything() == before
    assert runs_of_arcs() == held
    assert Run.objects.get(pk=first).segments.get().ended_at == T0.replace(hour=9, minute=58)


def test_a_clock_that_jumps_is_an_alarm_and_is_put_right_from_then_on(floor):
    """Right until noon; then set back by an hour. Lines before noon stay as they are."""
    source = Source("log", LOG)
    source.hear(burns(T0 - timedelta(hours=1), [30.0] * 30))
    assert not Alarm.objects.exists()
    source.hear(burns(T0, [30.0] * 30), slow=timedelta(hours=1))
    alarm = Alarm.objects.get(code="clock jump")
    assert from_us(alarm.at_us) == T0
    assert "back by 3600 s" in alarm.message
    made = clock_put_right(
        feed=Feed.objects.get(pk=source.feed.pk), at=T0, by="theo", reason="set back"
    )
    assert made.offset_us == 3_600_000_000
    assert from_us(made.from_us) == T0 - timedelta(hours=1)
    source.hear(burns(T0 + timedelta(hours=2), [30.0]), slow=timedelta(hours=1))
    # Set back at noon, it wrote the hour before noon once more: only arrival tells them apart.
    on = sorted(from_us(us) for us in Arc.objects.values_list("on_us", flat=True))
    hour = [T0 - timedelta(hours=1) + n * MINUTE for n in range(30)]
    assert on == [*hour, *(T0 + n * MINUTE for n in range(30)), T0 + timedelta(hours=2)]
    before = everything()
    rebuild(Feed.objects.get(pk=source.feed.pk))
    assert everything() == before


def test_of_a_contact_and_a_program_log_one_counts_and_the_other_names_the_program(
    floor, north, client, administrator
):
    contact, log = Source("contact", CONTACT), Source("log", LOG)
    assert (contact.feed.master, log.feed.master) == (True, False)
    nest = floor.nest("N-7", contours=4)
    other = floor.nest("N-8", contours=4)
    floor.queue(other)
    floor.queue(nest)
    log.hear([(T0 - MINUTE, "PROGRAM,/jobs/n-7.NC"), *burns(T0 + SECOND, [29.0] * 4, gap_s=6.0)])
    contact.hear(burns(T0, [30.0] * 4, gap_s=5.0, on="1", off="0"), numbered=False)
    floor.follow()
    assert master_arcs(north).count() == 4
    assert sum(arc.seconds for arc in master_arcs(north)) == 120.0  # 4 x 30 s, not 236 s
    (found,) = unassigned_clusters(north, T0 - MINUTE, T0 + timedelta(hours=1))
    assert (found.arcs, found.arc_s) == (4, 120.0)
    assert found.programs == ("/jobs/n-7.NC",)
    assert [one.nest for one in found.suggestions] == ["N-7", "N-8"]
    assert "its program was loaded" in found.suggestions[0].why
    page = log.page(client, administrator)
    assert "Who counts arcs here" in page


def test_lines_heard_late_close_an_open_arc_and_the_run_is_worked_out_again(floor, runs_wanted):

    source = Source("log", LOG)
    run = floor.done("start", T0 - SECOND, queue_item=floor.queue(floor.nest()).pk)["run"]
    source.hear([(T0, "ON,")])
    floor.follow()
    assert Arc.objects.get().ended == "open"
    Work.objects.all().delete()
    source.hear([(T0 + timedelta(seconds=30), "OFF,")])
    floor.follow()
    assert (Arc.objects.get().ended, Arc.objects.get().seconds) == ("off", 30.0)
    assert runs_wanted() == {run}


def test_what_was_entered_for_a_dead_source_gives_way_to_its_lines_once(
    floor, north, supervisor, client, tmp_path
):
    """Heard to 12:00, then nothing for 28 min while 12 arcs of 60 s burnt. The supervisor enters
    10 starts and 9 min; the controller's own file, read in later, says 12 starts and 12 min."""
    from planning.inputs.pieces import load_pieces
    from shopfloor.models import Piece
    from telemetry.worker.backfill import backfill

    source = Source("log", LOG)
    floor.tray(label="A")
    floor.done("change_tray", T0 - timedelta(hours=1), tray="A")
    piece = Piece.objects.get(label="A-nozzle")
    before = burns(T0 - timedelta(minutes=10), [60.0] * 5, gap_s=60.0)
    dead = burns(T0 + MINUTE, [60.0] * 12, gap_s=60.0)
    source.hear(before)
    back = T0 + 28 * MINUTE
    opened = {"broken": True, "message": "the link was down for 1680.0 s"}
    push_take(
        token=source.token,
        body=Record(Kind.OPENED, source.sequence, to_us(back), 1, opened, b"").pack(),
        delivery=Delivery("f" * 32),
    )
    source.sequence += 1
    source.seq += len(dead)  # the controller counted on, and nobody heard it
    source.hear(burns(back + MINUTE, [60.0]))
    floor.follow()

    def silent_s():
        hearing = source_silences([north], to_us(T0 - MINUTE), to_us(back), back)["north"]
        return sum(end - start for start, end in hearing.silences) / 1e6

    def age():
        (found,) = load_pieces([piece.pk])
        return found.arcs, found.arc_us / 1e6

    assert silent_s() == 1680.0
    assert age() == (6, 360.0)
    client.force_login(supervisor)
    client.post(
        "/sources/at/log/entered/",
        {"torch": floor.torch.pk, "started_at": "2026-06-01T07:00", "ended_at": "2026-06-01T07:28",
         "starts": "10", "minutes": "9", "why": "counted on the table"},
    )  # fmt: skip
    entered = EnteredCount.objects.get()
    assert (entered.started_at, entered.arc_s) == (T0, 540.0)  # 07:00 in Chicago
    assert age() == (16, 900.0)
    assert Arc.objects.count() == 6  # nothing is made up

    Work.objects.all().delete()
    path = tmp_path / "controller.csv"
    lines = [*before, *dead, *burns(back + MINUTE, [60.0])]
    path.write_text(
        "".join(
            f"{n},{moment.replace(tzinfo=None).isoformat()},{rest}\n"
            for n, (moment, rest) in enumerate(lines, 1)
        )
    )
    for _ in range(2):
        backfill(source.feed, path, lambda done, of: None)
        floor.follow()
        entered.refresh_from_db()
        assert Arc.objects.count() == 18
        assert age() == (18, 1080.0)
        assert (entered.measured_starts, entered.measured_arc_s) == (12, 720.0)
    assert str(piece.pk) in set(Work.objects.filter(kind="piece").values_list("key", flat=True))
    assert silent_s() == 0
    page = worded(client.get("/sources/at/log/entered/").content.decode())
    assert "lines came: 12 starts (+2), 12.0 min (+3); they count" in page
    replaced_at = entered.replaced_at
    floor.follow()
    entered.refresh_from_db()
    assert entered.replaced_at == replaced_at


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"starts": "1", "minutes": "31"}, "More burning than there was time."),
        ({"ended_at": "2026-06-01T07:00"}, "It must end after it begins"),
        ({"started_at": "2026-06-01T06:40", "ended_at": "2026-06-01T07:10"}, "Arcs were heard"),
    ],
)
def test_counts_that_cannot_be_are_not_kept(floor, supervisor, client, change, said):
    Source("log", LOG).hear(burns(T0 - timedelta(minutes=10), [60.0]))
    client.force_login(supervisor)
    values = {"torch": floor.torch.pk, "started_at": "2026-06-01T07:00",
              "ended_at": "2026-06-01T07:28", "starts": "10", "minutes": "9"}  # fmt: skip
    page = client.post("/sources/at/log/entered/", {**values, **change}).content.decode()
    assert said in page
    assert not EnteredCount.objects.exists()


def test_twelve_hundred_closures_polled_ten_times_a_second(
    floor, north, client, administrator, supervisor, tmp_path
):
    """A transfer contact, 1,200 closures of 2 s with 1 s between, polled at 10 Hz: 36,000 lines.
    Every one is a start; whether it pierced is beyond what a contact can tell."""
    from planning.inputs.pieces import load_pieces
    from planning.services.work import run_all_waiting
    from shopfloor.models import Piece, RunVariance
    from telemetry.selectors import feed_status

    text = CONTACT.replace('kind = "push"', 'kind = "csv_file"\npath = "{path}"')
    path = tmp_path / "contact.csv"
    feed = source_register(name="bare", text=text.format(path=path), by="theo").feed
    floor.tray(label="A")
    floor.done("change_tray", T0 - MINUTE, tray="A")
    revision = floor.nest(contours=1200, seconds=2.0)
    run = floor.done("start", T0 - SECOND, queue_item=floor.queue(revision).pk)["run"]
    with path.open("w") as file:
        for n in range(1200):
            for tenth in range(30):
                moment = T0 + timedelta(seconds=3 * n + tenth / 10)
                file.write(f"{moment.replace(tzinfo=None).isoformat()},{int(tenth < 20)}\n")
    run_once([feed])
    floor.follow()
    status = feed_status(feed)
    assert (status["lines"], status["events"], status["rejected"]) == (36_000, 2_400, 0)
    assert (status["arcs"], status["arc_seconds"], status["pierces"]) == (1200, 2400.0, None)
    assert status["knows"] == {"contact": "transfer", "pierces": False}
    assert not Arc.objects.exclude(ended="off").exists()
    floor.done("finish", T0 + timedelta(seconds=3601), exceptions=[])
    run_all_waiting()
    variance = RunVariance.objects.get(run=run)
    assert (variance.arcs, variance.pierces, variance.misfires) == (1200, None, None)
    assert variance.spent["cutting with piercing"] == pytest.approx(2400)
    assert not {"cutting", "piercing", "repeats"} & (set(variance.spent) | set(variance.terms))
    (age,) = load_pieces([Piece.objects.get(label="A-nozzle").pk])
    assert age.arcs == 1200
    client.force_login(administrator)
    page = client.get("/sources/at/bare/").content.decode()
    assert page.count("can’t know") >= 2
    client.force_login(supervisor)
    shown = client.get(f"/runs/{run}/").content.decode()
    assert "this source cannot know" in shown
