"""News of one feed, whatever they are: changes of description and clock, events behind or among
those stored, refused lines, repeats and gaps."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

from django.db import connection, transaction

from telemetry.decode.row_blocks import AnyRow
from telemetry.decode.row_list import Rows
from telemetry.events import ARC_OFF
from telemetry.lanes.gathered import Gathered, row_of
from telemetry.models import Feed
from telemetry.store import exceptions
from telemetry.store.append import Part, append
from telemetry.store.clock import retime_all
from telemetry.store.events import first_stored, raise_ties, stored_ties
from telemetry.store.from_journal import take_up_clock, take_up_text
from telemetry.store.news import News
from telemetry.store.open_arcs import OpenArcs
from telemetry.store.repair import repair
from telemetry.store.reread_rejects import reread_rejects
from telemetry.store.rollups import DueBuckets
from telemetry.store.rows import AlreadyStored


@dataclass(slots=True)
class Counts:
    """Events that were stored, and lines that were known already."""

    stored: int = 0
    known: int = 0


def store_uneven(news: News, due: DueBuckets, *, pair: bool) -> Counts:
    """Stores all but the cursor and the sums: `due` takes the quarter hours that want summing."""
    feed, memory = news.feed, news.memory
    # What is worked out here must not show if the transaction fails and is tried again.
    gathered = replace(
        news.gathered, late=list(news.gathered.late), repeats=dict(news.gathered.repeats)
    )
    if gathered.new_text is not None:
        take_up_text(feed, *gathered.new_text)
    if gathered.new_clock is not None:
        take_up_clock(feed, gathered.new_clock)
    if gathered.new_version is not None:
        mended = reread_rejects(feed, gathered.new_version)
        gathered.late.extend(row_of(event, 0, gathered.feed_version, 0) for event in mended)
        memory.forget()  # what it remembers rests on what the description before could tell
    counts, changed = _Events(news._replace(gathered=gathered), due, pair=pair).store()
    turned = gathered.new_clock is not None or gathered.new_version is not None
    if turned and feed.clock_version and retime_all(feed, gathered.new_clock):
        changed = _everything(feed)
    if changed and pair:
        memory.forget()
        for torch, (first_us, last_us) in changed.items():
            repair(feed, torch, first_us, last_us, pierces=gathered.pierces, dirty=due)
    counts.known += exceptions.save_rejects(feed, gathered)
    counts.known += exceptions.save_repeats(feed, gathered)
    spans = [span for span in changed.values() if span[0] is not None]
    exceptions.save_gaps(feed, gathered, spans)
    exceptions.save_sources(feed, gathered)
    return counts


Spans = dict[str, tuple[int | None, int | None]]  # by torch, instants from and to; None: all


class _Events:
    """Events of one feed on their way into the table."""

    def __init__(self, news: News, due: DueBuckets, *, pair: bool) -> None:
        self._feed, _, self._gathered, self._memory, _ = news
        self._due, self._pair = due, pair

    def store(self) -> tuple[Counts, Spans]:
        """Stores them; returns the counts, and the spans to pair again."""
        gathered, memory = self._gathered, self._memory
        events = gathered.events
        if not events and not gathered.late:
            return Counts(), {}
        open_arcs = None
        if self._pair and events:
            open_arcs = memory.open_arcs or OpenArcs(self._feed, pierces=gathered.pierces)
            memory.open_arcs = open_arcs
        behind = open_arcs is None or open_arcs.follows(events[0][1], gathered.stream)
        if not gathered.late and behind:
            if self._append(events, open_arcs):
                return Counts(stored=len(events)), {}
            memory.forget()
            open_arcs = None
        return self._among_stored(open_arcs)

    def _append(self, rows: Rows, open_arcs: OpenArcs | None) -> bool:
        """Stores rows behind all others; False, with nothing stored, where one was there."""
        gathered = self._gathered
        try:
            with transaction.atomic():
                if open_arcs is not None:
                    open_arcs.load(rows.torches(), gathered.feed_version)
                append([Part(self._feed.pk, gathered.stream, rows, open_arcs, self._due)])
        except AlreadyStored:
            return False
        return True

    def _surely_append(self, rows: Rows, open_arcs: OpenArcs | None) -> None:
        if not self._append(rows, open_arcs):
            raise RuntimeError(f"{self._feed.name}: events appeared beside the only writer")

    def _among_stored(self, open_arcs: OpenArcs | None) -> tuple[Counts, Spans]:
        """Looks up what is there, stores the rest and says which spans it touched."""
        gathered, pair = self._gathered, self._pair
        first_known = 0 if gathered.late else first_stored(self._feed.pk, gathered.events)
        if first_known == len(gathered.events) > 0:
            return Counts(known=_lines_of(gathered, gathered.events)), {}
        rest = gathered.events.since(first_known)
        behind = not pair or (open_arcs is not None and open_arcs.follows(rest[0][1], ""))
        if first_known and behind:
            self._surely_append(rest, open_arcs)
            known = _lines_of(gathered, gathered.events[:first_known])
            return Counts(len(rest), known), {}
        both = [*gathered.events, *gathered.late]
        first = {row[0]: row for row in reversed(both)}
        stored = stored_ties(self._feed.pk, list(first))
        higher = {key: first[key][3] for key, (tie, _) in stored.items() if first[key][3] > tie}
        torches = {key: first[key][4] for key in higher}
        new = [row for row in both if row[0] not in stored and first.pop(row[0], None) is row]
        raise_ties(self._feed.pk, higher)
        counts = Counts(len(new), self._known(both, new, set(stored)))
        follows = open_arcs is not None and not gathered.late and not higher
        if new and follows and open_arcs is not None and open_arcs.follows(new[0][1], ""):
            self._surely_append(Rows([new]), open_arcs)
            return counts, {}
        self._surely_append(Rows([new]), None)
        touched = [(row[4], row[1]) for row in new]
        touched += [(torches[key], stored[key][1]) for key in higher]
        return counts, _spans(self._feed, touched) if pair else {}

    def _known(self, both: list[AnyRow], new: list[AnyRow], stored: set[bytes]) -> int:
        """How many lines were known; late ones that came again are counted as repeats instead."""
        gathered = self._gathered
        again = len(both) - len(stored) - len(new)  # in this stretch: the same line, long after
        late_again = [row[0].hex() for row in gathered.late if row[0] in stored]
        if not gathered.reread:
            for key in late_again:
                now, in_all = gathered.repeats.get(key, (0, 0))
                gathered.repeats[key] = (now + 1, in_all + 1)
        if gathered.several:
            return _lines_of(gathered, both) - _lines_of(gathered, new)
        return len(stored) + (again if gathered.reread else -len(set(late_again)))


def _lines_of(gathered: Gathered, rows: Sequence[AnyRow]) -> int:
    """How many lines gave these rows: what a poll says beside its edge is no line of its own."""
    if not gathered.several:
        return len(rows)
    return sum(row[5] <= ARC_OFF for row in rows)


def _spans(feed: Feed, touched: list[tuple[str, int]]) -> Spans:
    if any(not torch for torch, _ in touched):  # a program for the whole table
        torches = _everything(feed)
        touched = [(t, at) for torch, at in touched for t in ([torch] if torch else torches)]
    spans: dict[str, list[int]] = defaultdict(list)
    for torch, at_us in touched:
        spans[torch].append(at_us)
    return {torch: (min(instants), max(instants)) for torch, instants in spans.items()}


def _everything(feed: Feed) -> Spans:
    return dict.fromkeys(torches_of(feed), (None, None))


def torches_of(feed: Feed) -> set[str]:
    """Torches that events or arcs of a feed name."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT DISTINCT torch FROM telemetry_event WHERE feed_id = %s AND torch <> ''",
            [feed.pk],
        )
        named = {row[0] for row in cursor.fetchall()}
    return named | set(feed.arcs.order_by().values_list("torch", flat=True).distinct())
