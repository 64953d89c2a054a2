"""Where the time in a window went: burning, stopped, waiting, unknown; and for a run, finer.

Every instant is counted once. What was measured goes before what was entered: an instant is
burning if any torch burnt, else stopped if a stoppage covers it, else unknown if the feed was
silent, else waiting. Unknown is never called waiting.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from planning.calc.entered import Entry, split_entered
from planning.calc.spans import Span, intersect, length, subtract, union

CUTTING = "cutting"
PIERCING = "piercing"
CUTTING_WITH_PIERCING = "cutting with piercing"
TRAVEL = "travel"
WAITS = "waits"
TRAVEL_WITH_WAITING = "travel with waiting"
LOADING_WITH_WAITING = "loading with waiting"
REPEATS = "repeats"
STOPPAGES = "stoppages"
UNKNOWN = "unknown"
ENTERED_BURNING = "burning as entered"
ENTERED_REST = "not burning as entered"
ALL_BUT_STOPPAGES = "cutting, travel and waiting"
ENTERED = (STOPPAGES, ENTERED_BURNING, ENTERED_REST)  # what people said of a measured run

# Our assumption: the torch is still on its way for up to twice the planned travel, and for 3 s in
# any case; in a longer pause the planned travel is travel and the rest a wait.
TRAVEL_SLACK = 2
TRAVEL_LEAST_US = 3_000_000


@dataclass(frozen=True, slots=True)
class Burn:
    """One arc of a run. `pierced_us` is the instant its feed said the pierce was through, None
    where it said nothing; `contour` is the contour it cut, None unless that is known."""

    on_us: int
    off_us: int
    contour: int | None = None
    repeat: bool = False
    pierced_us: int | None = None
    torch: str = "1"


@dataclass(frozen=True, slots=True)
class Shares:
    """A window's microseconds; the four sum to the window. `torch_us` sums over torches.
    `entered_us` of burning and waiting, with `entered_burning_us` of burning, are as entered."""

    burning_us: int
    stopped_us: int
    waiting_us: int
    unknown_us: int
    torch_us: int
    entered_us: int = 0
    entered_burning_us: int = 0

    @property
    def known_us(self) -> int:
        return self.burning_us + self.stopped_us + self.waiting_us

    def burning(self) -> tuple[float, float, float] | None:
        """The burning share of the known time, and the least and most it can be of all time
        (none, or all, of the unknown burning). None where nothing is known."""
        window = self.known_us + self.unknown_us
        if not self.known_us:
            return None
        return (
            self.burning_us / self.known_us,
            self.burning_us / window,
            (self.burning_us + self.unknown_us) / window,
        )


def shares(
    windows: Iterable[Span],
    burns: Iterable[Span],
    stoppages: Iterable[Span],
    silences: Iterable[Span],
    entries: Iterable[Entry] = (),
) -> Shares:
    """Where the time in `windows` went. `burns` of all torches; overlapping ones are one burning
    table and so many burning torches. `entries` are what somebody says burnt in a time nothing was
    heard. The rest of such a time was no burning, so it is waiting, and no longer unknown; of one
    cut by the window or heard in part, its share counts. Our assumption: of two
    torches' overlapping spans the table burnt as long as the one that burnt longer."""
    whole = union(windows)
    burns = list(burns)
    all_burnt = union(burns)
    burning = intersect(all_burnt, whole)
    stopped = subtract(intersect(union(stoppages), whole), burning)
    unknown = subtract(subtract(intersect(union(silences), whole), burning), stopped)
    torch_us = length(burning)
    if length(all_burnt) < sum(off_us - on_us for on_us, off_us in burns if off_us > on_us):
        torch_us = sum(  # some burnt at the same time
            min(off_us, end) - max(on_us, start)
            for start, end in whole
            for on_us, off_us in burns
            if on_us < end and start < off_us and on_us < off_us
        )
    entries = list(entries)
    torch_us += sum(entry.within(unknown)[1] for entry in entries)
    unknown, parts = split_entered(unknown, entries)
    entered_us = sum(length(covered) for covered, _ in parts)
    entered_burning_us = sum(us for _, us in parts)
    burning_us = length(burning) + entered_burning_us
    rest_us = length(whole) - burning_us - length(stopped) - length(unknown)
    return Shares(
        burning_us,
        length(stopped),
        rest_us,
        length(unknown),
        torch_us,
        entered_us,
        entered_burning_us,
    )


def unheard(
    windows: Iterable[Span],
    burns: Iterable[Span],
    stoppages: Iterable[Span],
    silences: Iterable[Span],
) -> list[Span]:
    """Time of the windows in which nothing was heard and nothing else is known."""
    known = union([*burns, *stoppages])
    return subtract(intersect(union(silences), union(windows)), known)


def repeated(burns: Sequence[Burn], planned_arc_us: Mapping[int, int]) -> list[bool]:
    """Which arcs were burnt in vain. Of several arcs of one contour the longest made it and the
    others are repeats, unless together they stay within a tenth of its plan (cut in two goes). An
    arc marked as a repeat is one where no other arc of its contour is."""
    groups: dict[int, list[int]] = {}
    for index, burn in enumerate(burns):
        if burn.contour is not None:
            groups.setdefault(burn.contour, []).append(index)
    vain = [burn.repeat for burn in burns]
    for contour, members in groups.items():
        if len(members) < 2:
            continue
        lengths = [burns[index].off_us - burns[index].on_us for index in members]
        plan = planned_arc_us.get(contour)
        in_goes = plan is not None and sum(lengths) <= plan * 1.1
        made = max(range(len(members)), key=lambda place: (lengths[place], place))
        for place, index in enumerate(members):
            vain[index] = place != made and not in_goes
    return vain
