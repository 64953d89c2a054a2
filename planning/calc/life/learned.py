"""What a shop has learned of one part from its pieces, and what that says of one of them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

from planning.calc.life.left import Left, left
from planning.calc.life.pit import (
    PitSays,
    Rates,
    Reading,
    Scatter,
    pit_says,
    rates,
    scatter,
    told_ages,
)
from planning.calc.life.posterior import Posterior
from planning.calc.life.records import Life, TooLittleData

# Out at this part of the pit's limit or deeper, a piece had given what it had.
WORN_OUT = 0.9
OWN_WEAR = ("pit", "out_of_round")  # causes for which a piece is taken out before it fails


@dataclass(frozen=True, slots=True)
class PieceRecord:
    """One piece: its age watched, whether it ended by its own wear, and its pits as read."""

    piece: int
    life: Life
    readings: tuple[Reading, ...] = ()


def ended_by_wear(
    *, state: str, cause: str, collateral: bool, last_pit_mm: float | None, limit_mm: float
) -> bool:
    """Whether a piece that came out had come to its end: it failed, or was taken out for its pit or
    orifice. To count the latter as survivors would make lives look longer than any piece gave: it
    came out because it was about to end. One changed with its partner has not ended."""
    if collateral:
        return False
    if state == "failed":
        return True
    deep = last_pit_mm is not None and last_pit_mm >= WORN_OUT * limit_mm
    return state == "retired" and (cause in OWN_WEAR or deep)


@dataclass(frozen=True)
class Learned:
    """`rated`: starts the maker gives; None: none given."""

    records: tuple[PieceRecord, ...]
    rated: int | None
    limit_mm: float

    @property
    def lives(self) -> list[Life]:
        return [record.life for record in self.records]

    @property
    def ends(self) -> int:
        return sum(record.life.ended for record in self.records)

    @cached_property
    def rates(self) -> Rates | None:
        return rates([reading for record in self.records for reading in record.readings])

    @cached_property
    def scatter(self) -> Scatter:
        """How pits of pieces that ended told their ages."""
        if self.rates is None:
            return scatter([])
        told = [
            (record.life.age, told_ages(record.readings, self.rates, self.limit_mm))
            for record in self.records
            if record.life.ended
        ]
        return scatter(told)

    def pit_says(self, readings: Sequence[Reading]) -> PitSays | None:
        """What a piece's own pits say; its set's usual wear, or else its own, parts starts from arc
        time."""
        usual = self.rates or rates(readings)
        if usual is None:
            return None
        return pit_says(told_ages(readings, usual, self.limit_mm), self.scatter)

    @cached_property
    def whole(self) -> Posterior:
        """Lives as all pieces tell them. Raises `TooLittleData`."""
        return self.posterior()

    def posterior(self, without: Iterable[int] = ()) -> Posterior:
        """Lives as all pieces but these tell them. Raises `TooLittleData`."""
        out = set(without)
        lives = [record.life for record in self.records if record.piece not in out]
        return Posterior.of(lives, self.rated)

    def left(self, piece: int, starts: float, readings: Sequence[Reading]) -> Left | None:
        """What is left of a piece, by the others and by its own pit. None: there is too little to
        say."""
        own = self.pit_says(readings)
        try:
            lives = self.posterior(without=[piece])
        except TooLittleData:
            if own is None:
                return None
            lives = Posterior.of([], own.age)
        return left(lives, starts, own)


def learn(records: Iterable[PieceRecord], rated: int | None, limit_mm: float) -> Learned:
    return Learned(tuple(records), rated, limit_mm)
