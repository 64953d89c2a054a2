"""A simulated status line for tests: polls of two torches with a pierce counter and amps, and what
they come to worked out a second, slow way."""

from __future__ import annotations

import random
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

TO = 99  # the counter's last number; behind it comes 0
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
FEED = """
table = "north"
[source]
kind = "csv_file"
path = "{path}"
[line]
format = "level"
columns = [{columns}]
{more}
[time]
zone = "UTC"
[knows]
contact = "transfer"
"""


def polled_text(
    path: Path | str = "x", *, numbered: bool = False, beside: bool = True, more: str = ""
) -> str:
    """A description; without `beside` the counter and the amps are passed over."""
    columns = (["seq"] if numbered else []) + ["time", "torch", "level"]
    columns += ["pierces", "amps"] if beside else ["ignore", "ignore"]
    if beside:
        more += f"\ncounts_to = {TO}"
    return FEED.format(path=path, columns=", ".join(f'"{each}"' for each in columns), more=more)


@dataclass(frozen=True)
class Poll:
    """`pierced` is what the torch pierced since its poll before, told by the counter or not."""

    seq: int
    at: datetime
    torch: str
    on: bool
    pierced: int
    count: int | None
    amps: float | None

    def text(self, *, numbered: bool = False) -> str:
        head = f"{self.seq}," if numbered else ""
        count = "" if self.count is None else self.count
        amps = "" if self.amps is None else self.amps
        return f"{head}{self.at.isoformat()},{self.torch},{int(self.on)},{count},{amps}\n"

    @property
    def at_us(self) -> int:
        return (self.at - EPOCH) // timedelta(microseconds=1)


def simulate(seed: int, polls: int, *, told: float = 0.85) -> list[Poll]:
    """Both torches once a second. The counters run past their end, some lines leave them out
    (`told` is the part that does not), and some find them started again at 0, as after a loss of
    power."""
    chance = random.Random(seed)
    at = datetime(2026, 11, 30, 14, tzinfo=UTC)
    on, counts, found = {"1": False, "2": False}, {"1": 90, "2": 5}, []
    untold = {"1": 0, "2": 0}
    while len(found) < polls:
        at += timedelta(seconds=1)
        for torch in "12":
            was, on[torch] = on[torch], chance.random() < (0.8 if on[torch] else 0.3)
            pierced = 0
            if was or on[torch]:
                pierced = chance.choice([0, 0, 1] if was else [1, 1, 2])
            elif chance.random() < 0.02:
                pierced = 1  # an arc between two polls that nobody saw
            # In the middle, where no small number behind it can be taken for anything else.
            if 40 <= counts[torch] <= 65 and not untold[torch] and chance.random() < 0.05:
                counts[torch] = 0
            counts[torch] = (counts[torch] + pierced) % (TO + 1)
            tells = chance.random() < told or untold[torch] + pierced > 5
            untold[torch] = 0 if tells else untold[torch] + pierced
            amps = round(chance.uniform(80, 100), 1) if on[torch] else 0.0
            found.append(
                Poll(
                    len(found) + 1, at, torch, on[torch], pierced,
                    counts[torch] if tells else None, amps if chance.random() < 0.9 else None,
                )
            )  # fmt: skip
    return found


def arcs_of(polls: list[Poll]) -> tuple[set[tuple], int]:
    """((torch, on, off, pierces, amps) of each arc that ended, how many lines told of a pierce
    outside any), by what really happened and not by the counter. Pierces are None where no reading
    came before the arc or none in it, or where one in it tells of an arc before it too."""
    arcs, strays = set(), 0
    for torch in {poll.torch for poll in polls}:
        mine = [poll for poll in polls if poll.torch == torch]
        first = next(n for n, poll in enumerate(mine) if poll.count is not None)
        told: dict[int, int] = {}  # poll -> pierces it tells of
        waiting = 0
        for n, poll in enumerate(mine):
            waiting += poll.pierced if n > first else 0
            if poll.count is not None:
                told[n], waiting = waiting, 0
        inside: set[int] = set()
        unread: list[range] = []  # arcs that no line told of
        n = 0
        while n < len(mine):
            if not mine[n].on:
                n += 1
                continue
            end = next((m for m in range(n, len(mine)) if not mine[m].on), len(mine) - 1)
            inside.update(range(n, end + 1))
            amps = [p.amps for p in mine[n:end] if p.amps]
            if not mine[end].on:
                arc = range(n, end + 1)
                read = [m for m in arc if m in told]
                before = max((m for m in told if m < n), default=-1)
                mixed = any(told.get(m) for m in read[:1]) and any(u.start > before for u in unread)
                if not read:
                    unread.append(arc)
                arcs.add(
                    (
                        torch, mine[n].at_us, mine[end].at_us,
                        sum(told[m] for m in read) if read and before >= 0 and not mixed else None,
                        round(sum(amps) / len(amps), 6) if amps else None,
                    )
                )  # fmt: skip
            n = end + 1
        strays += sum(1 for m, count in told.items() if count and m not in inside)
    return arcs, strays
