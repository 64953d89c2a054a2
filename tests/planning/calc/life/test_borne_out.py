"""A simulated torch whose truth is known: electrode and nozzle go together when either fails, and
pits are looked at now and then. Advice for the electrode by itself takes each end for a failure and
knows of no partner; the replay of the past must show what that leaves out. The simulator is this
file's own."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pytest

from planning.calc.life.costs import ChangeCosts, Extra
from planning.calc.life.pays import pays
from planning.calc.life.posterior import Posterior
from planning.calc.life.records import Life
from planning.calc.life.replay import Advised, Out, replay
from planning.reports.change_pays import Score, borne_out

ELECTRODE, NOZZLE, FAILURE, PLANNED, MEAN = 14.0, 11.5, 47.0, 8.7, 700.0
RUN, LOOKED_AT, ERROR = 55.0, 0.35, 0.06


@dataclass
class Torch:
    """Starts burnt, money spent in all, and electrodes that came out: starts, money charged to
    them, whether they ended by themselves."""

    starts: float = 0.0
    cost: float = 0.0
    out: list[tuple[float, float, bool]] = field(default_factory=list)


def life(random):
    return max(MEAN / 0.893 * random.weibull(3.0), 0.15 * MEAN)  # .893 = gamma(4/3)


def lived(seed, starts, *, change_at=np.inf):
    """The shop as it works, with the electrode alone changed at an age."""
    random = np.random.default_rng(seed)
    torch, lives, ages, left = Torch(), [life(random), life(random)], [0.0, 0.0], RUN
    while torch.starts < starts:
        step, what = min(
            (lives[0] - ages[0], "electrode"), (lives[1] - ages[1], "nozzle"), (left, "looked"),
            (max(0.0, change_at - ages[0]), "due"),
        )  # fmt: skip
        torch.starts, left = torch.starts + step, left - step
        ages = [age + step for age in ages]
        worth = [ELECTRODE * min(1, ages[0] / MEAN), NOZZLE * min(1, ages[1] / MEAN)]
        if what == "due":
            torch.cost += PLANNED + ELECTRODE
            lives[0], ages[0] = life(random), 0.0
            continue
        if what == "looked":
            left = RUN
            seen = ages[0] / lives[0] * random.normal(1, ERROR)
            if random.random() >= LOOKED_AT or seen < 0.92:
                continue
            torch.cost += PLANNED + ELECTRODE + NOZZLE
            torch.out.append((ages[0], PLANNED + ELECTRODE, True))
        else:
            torch.cost += FAILURE + ELECTRODE + NOZZLE
            charged = FAILURE + ELECTRODE + NOZZLE - worth[1]
            own = what == "electrode"
            torch.out.append((ages[0], charged if own else worth[0], own))
        lives, ages = [life(random), life(random)], [0.0, 0.0]
    return torch


def extra(total):
    return Extra(0.0, 0.0, total, 0.0, 0.0, 0.9 * total, 1.1 * total, 30, "part")


def test_advice_that_forgets_the_partner_is_notborne_out_by_the_past():
    past = lived(1, 300_000)
    told = pays(
        Posterior.of([Life(age, own, 0.0) for age, _cost, own in past.out[:60]], int(MEAN)),
        ChangeCosts(ELECTRODE, extra(FAILURE + 3), extra(PLANNED)),
    )
    assert told.verdict == "pays"
    promised = told.saved * 1000  # of 1,000 starts
    assert promised > 10
    as_is = past.cost / past.starts
    followed = lived(2, 300_000, change_at=told.age)
    assert (followed.cost / followed.starts - as_is) * 1000 > 10  # in truth it costs
    outs = [Out(n, n, age, cost) for n, (age, cost, _own) in enumerate(past.out)]
    score = replay(outs, lambda out: Advised(told.age, PLANNED + ELECTRODE))
    # The past does not know that a new electrode then goes with each failing nozzle, so the loss
    # is larger than it says; that nothing is saved it does tell.
    assert score.high < 0.2 * promised * score.starts / 1000


@pytest.mark.parametrize(
    ("sooner", "low", "verdict"),
    [(9, 1, "pays"), (9, 0, "unproven"), (9, -20, "unproven"), (0, -20, "untried")],
)
def test_advice_stands_where_its_own_past_saves(sooner, low, verdict):
    assert borne_out("pays", Score(12, sooner, 30, low, 60, None)) == verdict
    assert borne_out("unsure", Score(12, sooner, 30, low, 60, None)) == "unsure"
    assert borne_out("pays", None) == "untried"
