"""Any history of a wear part reconciles: seeded histories of fit, burn, shelve, refit, fail, crash,
loss and finding, with runs that finish late, runs entered late, and months that close meanwhile."""

from __future__ import annotations

import random
from collections import defaultdict
from datetime import UTC, date, datetime, timedelta
from fractions import Fraction

import pytest
from django.db.models import Sum

from planning.calc.wear import charges
from planning.services.months import next_month
from planning.services.piece_figures import pieces_write
from shopfloor.models import Month, PieceUse, Posting, Work
from tests.planning import cast

BEGIN = datetime(2026, 8, 3, 15, tzinfo=UTC)
ENDS = ("failed", "retired", "crashed", "lost")


class History:
    """One piece and what happens to it. `months` are closed in order, as somebody would."""

    def __init__(self, seed, revision, lines, table, by):
        self.draw = random.Random(seed)
        self.revision, self.lines, self.table, self.by = revision, lines, table, by
        rated = self.draw.choice((None, 100, 600, 599))
        prior = self.draw.choice((0, 0, 40, None))
        self.piece = cast.piece(
            "electrode", self.draw.choice((1, 99, 1900, 20_01)), rated, prior_starts=prior
        )
        self.stay = None
        self.now = BEGIN
        self.closed: dict[date, list] = {}
        self.deeds = []

    def step(self):
        self.now += timedelta(hours=self.draw.randint(5, 150))
        deeds = [self.close_month, self.finish, self.late_run]
        if self.piece.state in ("new", "shelved"):
            deeds += [self.fit, self.fit]
        if self.piece.state == "fitted":
            deeds += [self.burn] * 5 + [self.take_out] * 2
        if self.piece.state in ENDS:
            deeds += [self.found]
        deed = self.draw.choice(deeds)
        self.deeds.append(deed.__name__)
        deed()

    def fit(self):
        self.stay = cast.fitting(self.piece, self.table, self.now, by=self.by)
        self.become("fitted")

    def take_out(self):
        state = self.draw.choice(("shelved", "shelved", *ENDS))
        self.stay.removed_at, self.stay.removal_state = self.now, state
        self.stay.save()
        self.become(state)

    def found(self):
        """It was lost, or somebody took back what was said of it."""
        self.become("shelved")

    def become(self, state):
        self.piece.state = state
        self.piece.save()

    def burn(self, at=None, state=None):
        at = at or self.now
        state = state or self.draw.choice(("finished", "finished", "open"))
        run = cast.run(self.revision, self.table, start=at, state=state)
        weights = self.draw.choice(
            (
                {str(self.lines[0].pk): 1.0},
                {str(self.lines[0].pk): 2.0, str(self.lines[1].pk): 1.0},
                {str(self.lines[0].pk): 0.3, "": 0.1},
                {"": 1.0},
            )
        )
        starts = self.draw.choice((0, 1, 7, 33, 150))
        PieceUse.objects.create(
            run=run, piece=self.piece, at=at, starts=starts, arc_s=2.0 * starts, weights=weights,
            evidence="measured", known_starts=starts,
        )  # fmt: skip

    def late_run(self):
        """One of an earlier day, perhaps of a closed month, told of only now."""
        if self.stay is not None:
            self.burn(self.now - timedelta(hours=self.draw.randint(1, 900)), "finished")

    def finish(self):
        uses = PieceUse.objects.filter(piece=self.piece, run__state="open").select_related("run")
        for use in uses[:2]:
            use.run.state, use.run.closed_at = "finished", self.now
            use.run.save()

    def close_month(self):
        """Closes the oldest open month that is over, and remembers what stood in it."""
        month = Month.objects.filter(closed_at=None).order_by("first_day").first()
        if month is not None and next_month(month.first_day) < self.now.date():
            month.closed_at = self.now
            month.save()
            self.closed[month.first_day] = list(Posting.objects.filter(month=month).values())

    def write(self):
        pieces_write([self.piece.pk], now=self.now)
        Work.objects.all().delete()

    def check(self):
        told = " ".join(self.deeds)
        posted = Posting.objects.filter(piece=self.piece)
        whole = posted.aggregate(all=Sum("amount_minor"))["all"] or 0
        price = self.piece.price_minor
        assert 0 <= whole <= price, told
        uses = list(PieceUse.objects.filter(piece=self.piece).select_related("run"))
        all_done = all(use.run.state == "finished" for use in uses)
        if self.piece.state in ENDS and all_done:
            assert whole == price, told
        for first, rows in self.closed.items():
            assert list(Posting.objects.filter(month__first_day=first).values()) == rows, told
        self.check_runs(uses, told)
        before = posted.count()
        self.write()
        assert posted.count() == before, told

    def check_runs(self, uses, told):
        """Each finished run's share, worked out in fractions: within a cent of its starts' part of
        the price, or of starts over rated life while that lasts; an open one's is not posted."""
        sums = defaultdict(int)
        for run, minor in Posting.objects.filter(piece=self.piece, kind="wear").values_list(
            "run", "amount_minor"
        ):
            sums[run] += minor
        uses.sort(key=lambda use: (use.at, use.run_id))
        prior = self.piece.prior_starts or 0
        price, rated = self.piece.price_minor, self.piece.part.rated_starts
        burnt = prior + sum(use.starts for use in uses)
        gone = prior
        for use in uses:
            if self.piece.state in ("failed", "retired") and burnt:
                fair = Fraction(price * use.starts, burnt)
            elif rated:
                worn = min(rated, gone + use.starts) - min(rated, gone)
                fair = Fraction(price * worn, rated)
            else:
                fair = Fraction(0)
            gone += use.starts
            if use.run.state != "finished":
                fair = Fraction(0)
            assert abs(sums.get(use.run_id, 0) - fair) <= 1, told


@pytest.fixture
def world(db, north, operator):
    _, lines = cast.job(parts=("plate", "ring"))
    revision = cast.nest(operator, [(lines[0], 1e6, 2), (lines[1], 1e6, 2)])
    return revision, lines, north, operator


def live(seed, world, steps):
    one = History(seed, *world)
    for _ in range(steps):
        one.step()
        one.write()
        one.check()
    return one


@pytest.mark.parametrize("seed", range(2))
def test_any_history_reconciles_to_the_cent(seed, world):
    live(seed, world, 14)


@pytest.mark.long
@pytest.mark.slow
@pytest.mark.parametrize("seed", range(100, 140))
def test_many_histories_reconcile_to_the_cent(seed, world):
    live(seed, world, 40)


def test_what_is_charged_is_the_price_whatever_the_life():
    """The arithmetic alone, 3,000 lives: nothing below 0, never above the price, all of it at the
    end; a life that ends by wear pays by starts, within a cent of each start's part."""
    draw = random.Random(11)
    for _ in range(3_000):
        price = draw.choice((0, 1, 37, 1900, 123_457))
        uses = [draw.choice((0, 0, 1, 2, 50, 400)) for _ in range(draw.randint(0, 9))]
        rated = draw.choice((None, 1, 60, 600))
        prior = draw.choice((0, None, 5, 700))
        ended = draw.choice(("", *ENDS))
        found = charges(price, uses, rated_starts=rated, prior_starts=prior, ended=ended)
        told = (price, uses, rated, prior, ended)
        each = (*found.by_use, found.before, found.rest)
        assert min(each) >= 0, told
        assert found.total <= price, told
        if ended:
            assert found.total == price, told
        burnt = (prior or 0) + sum(uses)
        if ended in ("failed", "retired") and burnt:
            for starts, minor in zip(uses, found.by_use, strict=True):
                assert abs(Fraction(price * starts, burnt) - minor) < 1, told
