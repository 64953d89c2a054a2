"""The advice on changes, followed through the shop's own past with what was known each time."""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import Protocol

from planning.calc.life.costs import ChangeCosts, Happened
from planning.calc.life.learned import Learned
from planning.calc.life.pays import pays
from planning.calc.life.posterior import Posterior
from planning.calc.life.records import Life, TooLittleData
from planning.calc.life.replay import Advised, Out, Score, replay
from planning.inputs.lives import USED_UP
from shopfloor.chart.parts import alike
from shopfloor.models import Fitting, Piece, PieceUse, SetPart
from shopfloor.runs.arcs import to_us

REFITS = 40  # the advice is worked out anew so often over a past, and stands in between


class Costed(Protocol):
    """What changes cost, as known before a moment."""

    @property
    def failed(self) -> Sequence[Happened]: ...
    def costs(self, price: float, before_us: int | None = None) -> ChangeCosts | None: ...


@dataclass(frozen=True)
class Course:
    """A piece's life as it went: its starts by time, and how it ended."""

    life: Life
    at_us: list[int]
    burnt: list[int]  # all up to each use's end
    out_us: int | None

    def known(self, before_us: int) -> Life | None:
        """What was known of it; None: it was not in use yet."""
        if self.out_us is not None and self.out_us < before_us:
            return self.life
        place = bisect_left(self.at_us, before_us)
        if not place:
            return None
        age = min(self.life.age, self.life.entered + self.burnt[place - 1])
        return Life(age, False, min(self.life.entered, age))


def change_score(part: SetPart, learned: Learned, changes: Costed) -> Score | None:
    """None: too few pieces came out since advice could be given. Raises `TooLittleData`."""
    courses = _courses(learned)
    outs = _outs(part, courses, changes, learned.whole.mean)
    told = _adviser(part, list(courses.values()), changes, learned.rated, len(outs))
    return replay(outs, told)


def _courses(learned: Learned) -> dict[int, Course]:
    ids = [record.piece for record in learned.records]
    uses: dict[int, list[tuple[int, int]]] = defaultdict(list)
    rows = PieceUse.objects.filter(piece__in=ids).order_by("at")
    for piece, at, starts in rows.values_list("piece_id", "at", "starts"):
        uses[piece].append((to_us(at), starts))
    stays = Fitting.objects.filter(piece__in=ids, removed_at__isnull=False)
    gone = dict(stays.order_by("removed_at").values_list("piece_id", "removed_at"))
    open_now = set(Piece.objects.filter(pk__in=ids, state__in=("new", "fitted", "shelved"))
                   .values_list("pk", flat=True))  # fmt: skip
    found = {}
    for record in learned.records:
        own = uses[record.piece]
        out = gone.get(record.piece) if record.piece not in open_now else None
        found[record.piece] = Course(
            record.life,
            [moment for moment, _starts in own],
            list(accumulate(starts for _moment, starts in own)),
            to_us(out) if out else None,
        )
    return found


def _outs(part: SetPart, courses: dict[int, Course], changes: Costed, mean: float) -> list[Out]:
    """Pieces that came out after they were watched from new, with what that cost. One that came out
    for another reason cost what of it was used: what was left of it is that reason's."""
    costs = changes.costs(part.price_minor)
    if costs is None:
        return []
    pieces = Piece.objects.filter(part__in=alike(part), pk__in=list(courses))
    states = dict(pieces.values_list("pk", "state"))
    own = {int(one.key): one.total for one in changes.failed}
    stays = Fitting.objects.filter(piece__in=list(courses), pk__in=list(own))
    by_piece = dict(stays.values_list("piece_id", "pk"))
    found = []
    for piece, course in courses.items():
        if course.out_us is None or not course.at_us or course.life.entered:
            continue
        cost = costs.price * min(1.0, course.life.age / mean)
        if course.life.ended and states.get(piece) == "failed":
            told = own.get(by_piece.get(piece, -1))
            cost = costs.failed if told is None else costs.price + told
        elif course.life.ended and states.get(piece) in USED_UP:
            cost = costs.ahead
        found.append(Out(piece, course.at_us[0], course.life.age, cost))
    return found


def _adviser(
    part: SetPart, courses: Sequence[Course], changes: Costed, rated: int | None, outs: int
) -> Callable[[Out], Advised | None]:
    """Advice as it would have been given when a piece was fitted; what following it costs is what a
    planned change has cost since, as the pieces' own costs are."""
    every = max(1, outs // REFITS)
    kept: list[Advised | None] = []
    asked = 0

    def advise(out: Out) -> Advised | None:
        nonlocal asked
        if not kept or asked % every == 0:
            kept[:] = [_advice(part, courses, changes, rated, out.from_us)]
        asked += 1
        return kept[0]

    return advise


def _advice(
    part: SetPart, courses: Sequence[Course], changes: Costed, rated: int | None, at_us: int
) -> Advised | None:
    costs, known = changes.costs(part.price_minor, at_us), changes.costs(part.price_minor)
    lives = [life for one in courses if (life := one.known(at_us)) is not None]
    if costs is None or known is None:
        return None
    try:
        found = pays(Posterior.of(lives, rated), costs, seed=part.pk)
    except TooLittleData:
        return None
    if found.verdict == "thin":
        return None
    return Advised(found.age if found.verdict == "pays" else None, known.ahead)
