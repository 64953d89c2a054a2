"""One source from end to end: its journal's files, its lines, arcs and sums."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

from django.conf import settings

from telemetry.description import Description, parse_description
from telemetry.journal.thinned import Rows, Thinned, ThinnedError, thinned_read
from telemetry.models import Cursor, Feed, FeedVersion
from telemetry.paths import feed_folder, journal_folder
from telemetry.said import said, said_of_many
from telemetry.verify import feed_words as w
from telemetry.verify.arcs import Paired, StoredArcs, stored_strays, stored_torches
from telemetry.verify.beyond import Beyond
from telemetry.verify.findings import SHOWN, Finding, listed, moment
from telemetry.verify.repeats import too_few_repeats
from telemetry.verify.replay import Mark, Replayed, Stored, lasting
from telemetry.verify.rollups import differing
from telemetry.verify.segments import JournalCheck, check_journal
from telemetry.verify.sorting import Difference, Row, Sorter, compare

_MEAN = 1e-9  # relative: how far two ways of adding up the same samples may be apart
Say = Callable[[str], None]


class FeedCheck:
    """Findings of one feed, and how much was looked at."""

    def __init__(self, feed: Feed) -> None:
        self.feed = feed
        self.findings: list[Finding] = []
        self.segments = self.records = self.lines = self.events = self.arcs = 0

    def found(self, what: str, text: str, *, fault: bool = True) -> None:
        self.findings.append(Finding(what, self.feed.name, text, fault))


def check_feed(feed: Feed, say: Say = lambda step: None) -> FeedCheck:
    """All that can be proved of one source, as it is stored now: call it where the database shows
    one state throughout (a transaction that reads)."""
    done = FeedCheck(feed)
    cursors = list(Cursor.objects.filter(feed=feed).order_by("lane"))
    thinned = _thinned(done)
    with tempfile.TemporaryDirectory(prefix="verify-", dir=settings.DATA_DIR) as name:
        folder = Path(name)
        whole = _journal(done, cursors, thinned, say)
        _lines(done, cursors, thinned, folder, say, whole=whole)
        _arcs(done, cursors, folder, say)
    return done


def _thinned(done: FeedCheck) -> Thinned:
    """What was deleted for its age, told as a note."""
    try:
        thinned = thinned_read(feed_folder(done.feed.name))
    except ThinnedError as error:
        done.found(
            "thinning record damaged", said("The record of thinned segments, {error}.", error=error)
        )
        return Thinned()
    for name, lane in sorted(thinned.lanes.items()):
        last = lane.segments[-1]
        done.found(
            "journal thinned",
            said(
                w.THINNED_NOTE,
                journal=f"{done.feed.name}/{name}",
                day=last["thinned_at"][:10],
                segments=len(lane.segments),
                last=lane.sequence - 1,
                lines=lane.lines,
            ),
            fault=False,
        )
    return thinned


def _journal(done: FeedCheck, cursors: list[Cursor], thinned: Thinned, say: Say) -> bool:
    """Reads all files. True where no record is missing."""
    whole = True
    for cursor in cursors:
        where = f"{done.feed.name}/{cursor.lane}"
        say(said("reading the journal of {journal}", journal=where))
        kept = thinned.lane(cursor.lane)
        read = check_journal(
            journal_folder(done.feed.name, cursor.lane), where,
            first_segment=kept.segment if kept.segments else 0, first_sequence=kept.sequence,
        )  # fmt: skip
        done.findings += read.findings
        done.segments += read.segments
        done.records += read.records
        whole = whole and read.whole and _reaches(done, cursor, read, where)
    return whole


def _reaches(done: FeedCheck, cursor: Cursor, read: JournalCheck, where: str) -> bool:
    if cursor.sequence <= read.next_sequence:
        return True
    done.found(
        "journal too short",
        said(
            w.TOO_SHORT,
            journal=where,
            stored=cursor.sequence - 1,
            last=read.next_sequence - 1,
        ),
    )
    return False


def _lines(
    done: FeedCheck,
    cursors: list[Cursor],
    thinned: Thinned,
    folder: Path,
    say: Say,
    *,
    whole: bool,
) -> None:
    """Every line of the journal is stored once: as an event, a refused line or a repeat."""
    mark: Mark = lasting if thinned.lanes else hash
    replayed = Replayed(done.feed, folder, mark)
    stored = Stored(done.feed, cursors, mark)
    for cursor in cursors:
        journal = f"{done.feed.name}/{cursor.lane}"
        say(said("decoding the journal of {journal}", journal=journal))
        kept = thinned.lane(cursor.lane)
        try:
            replayed.take_lane(cursor, kept.position, kept.fresh_state())
        except (RuntimeError, ValueError, KeyError) as error:
            done.found(
                "journal cannot be decoded",
                said(
                    "The journal of {journal} cannot be decoded: {error}.",
                    journal=journal,
                    error=error,
                ),
            )
            whole = False
            continue
        _counted(done, cursor, replayed.lines[cursor.lane] + kept.lines)
    replayed.take_mended()
    say(said("comparing the lines of {source}", source=done.feed.name))
    _events(done, replayed, stored, thinned, whole=whole)
    _refused(done, replayed.rejects, stored.rejects(folder), thinned, whole=whole)
    _repeats(done, replayed.repeats, stored.repeats(folder))
    replayed.close()


def _counted(done: FeedCheck, cursor: Cursor, lines: int) -> None:
    done.lines += lines
    counted = cursor.lines + cursor.known
    if counted != lines:
        done.found(
            "lines miscounted",
            said(
                w.MISCOUNTED,
                journal=f"{done.feed.name}/{cursor.lane}",
                counted=counted,
                lines=lines,
            ),
        )


def _events(
    done: FeedCheck, replayed: Replayed, stored: Stored, thinned: Thinned, *, whole: bool
) -> None:
    groups: dict[str, list[Row]] = {"missing": [], "extra": [], "changed": []}
    counts = dict.fromkeys(groups, 0)
    beyond = Beyond(compare(replayed.events, stored.events(), older=bool(thinned.lanes)), thinned)
    for difference in beyond:
        counts[difference.kind] += 1
        if len(groups[difference.kind]) < SHOWN:
            groups[difference.kind].append(difference.entry)
    _proved(done, "lines", beyond.rows, thinned.events)
    done.events = stored.events_read
    for kind, count in counts.items():
        if count:
            when = listed([moment(entry[3]) for entry in groups[kind]], count)
            words = w.LINES["extra, not whole" if kind == "extra" and not whole else kind]
            text = said_of_many(*words, count, source=done.feed.name, when=when)
            done.found(f"lines {kind}", text)
    if stored.mistimed:
        done.found(
            "lines mistimed",
            said_of_many(
                *w.MISTIMED,
                stored.mistimed,
                source=done.feed.name,
            ),
        )


def _proved(done: FeedCheck, what: str, now: Rows, then: Rows) -> None:
    """The rows of deleted segments are still those that stood there when they were deleted."""
    if now != then:
        done.found(
            f"thinned {what} differ",
            said(w.THINNED[what], then=then.count, now=now.count, source=done.feed.name),
        )


def _refused(
    done: FeedCheck, expected: Sorter, stored: Sorter, thinned: Thinned, *, whole: bool
) -> None:
    counts = {"missing": 0, "extra": 0, "changed": 0}
    beyond = Beyond(compare(expected, stored, older=bool(thinned.lanes)), thinned)
    for difference in beyond:
        counts[difference.kind] += 1
    stored.close()
    _proved(done, "refused lines", beyond.rows, thinned.rejects)
    if any(counts.values()):
        words = w.REFUSED if whole else w.REFUSED_NOT_WHOLE
        done.found("refused lines differ", said(words, source=done.feed.name, **counts))


def _repeats(done: FeedCheck, expected: Sorter, stored: Sorter) -> None:
    short = too_few_repeats(expected, stored)
    if short:
        done.found(
            "repeats miscounted",
            said_of_many(
                *w.REPEATS,
                short,
                source=done.feed.name,
            ),
        )


def _arcs(done: FeedCheck, cursors: list[Cursor], folder: Path, say: Say) -> None:
    feed = done.feed
    say(said("pairing the arcs of {source}", source=feed.name))
    descriptions = _descriptions(feed)
    knows = {description.knows.pierces for description in descriptions.values()}
    tables = {version: description.table for version, description in descriptions.items()}
    paired, kept = Paired(feed, folder, knows), StoredArcs(feed, folder, tables)
    due: dict[str, set[int]] = {}
    for cursor in cursors:
        for torch, numbers in cursor.state.get("due", {}).items():
            due.setdefault(torch, set()).update(numbers)
    for torch in stored_torches(feed.pk):
        count, examples = 0, list[str]()
        for start, problem in differing(feed.pk, torch, kept.of(torch), due.get(torch, set())):
            count += 1
            if count <= SHOWN:
                examples.append(said("{at}: {problem}", at=moment(start), problem=problem))
        if count:
            shown = listed(examples, count)
            text = said_of_many(*w.SUMS, count, source=feed.name, torch=torch, examples=shown)
            done.found("sums differ", text)
    done.arcs = kept.sorted.count + len(kept.odd)
    if count := len(kept.misplaced):
        done.found(
            "arcs misplaced",
            said_of_many(
                *w.MISPLACED,
                count,
                source=feed.name,
                examples=listed([moment(us) for us in kept.misplaced[:SHOWN]], count),
            ),
        )
    _differences(done, "arcs", compare(paired.arcs, kept.sorted, tolerance=_MEAN), kept.odd)
    strays = stored_strays(feed.pk, folder)
    _differences(done, "strays", compare(paired.strays, strays), [])
    for sorter in (kept.sorted, strays):
        sorter.close()
    paired.close()


def _differences(done: FeedCheck, what: str, found: Iterator[Difference], odd: list[str]) -> None:
    counts = {"missing": 0, "extra": len(odd), "changed": 0}
    examples: list[str] = list(odd[:SHOWN])
    for kind, entry in found:
        counts[kind] += 1
        if len(examples) < SHOWN:
            examples.append(f"{entry[0]:016x}{entry[1]:016x}")
    if any(counts.values()):
        total = sum(counts.values())
        done.found(
            f"{what} differ",
            said(
                w.DIFFER[what],
                source=done.feed.name,
                examples=listed(examples, total),
                **counts,
            ),
        )


def _descriptions(feed: Feed) -> dict[int, Description]:
    """By version."""
    texts = FeedVersion.objects.filter(feed=feed).values_list("version", "text")
    return {version: parse_description(text, name=feed.name) for version, text in texts}
