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
from telemetry.verify.arcs import Paired, StoredArcs, stored_strays, stored_torches
from telemetry.verify.beyond import Beyond
from telemetry.verify.findings import SHOWN, Finding, listed, moment
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
        done.found("thinning record damaged", f"The record of thinned segments, {error}.")
        return Thinned()
    for name, lane in sorted(thinned.lanes.items()):
        last = lane.segments[-1]
        done.found(
            "journal thinned",
            f"The journal of {done.feed.name}/{name} was thinned, last on "
            f"{last['thinned_at'][:10]}: {len(lane.segments)} segments with records up to "
            f"{lane.sequence - 1} and {lane.lines} lines were deleted for their age.",
            fault=False,
        )
    return thinned


def _journal(done: FeedCheck, cursors: list[Cursor], thinned: Thinned, say: Say) -> bool:
    """Reads all files. True where no record is missing."""
    whole = True
    for cursor in cursors:
        where = f"{done.feed.name}/{cursor.lane}"
        say(f"reading the journal of {where}")
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
        f"Lines of {where} were stored up to record {cursor.sequence - 1}, but its journal ends "
        f"with record {read.next_sequence - 1}.",
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
        say(f"decoding the journal of {done.feed.name}/{cursor.lane}")
        kept = thinned.lane(cursor.lane)
        try:
            replayed.take_lane(cursor, kept.position, kept.fresh_state())
        except (RuntimeError, ValueError, KeyError) as error:
            done.found(
                "journal cannot be decoded",
                f"The journal of {done.feed.name}/{cursor.lane} cannot be decoded: {error}.",
            )
            whole = False
            continue
        _counted(done, cursor, replayed.lines[cursor.lane] + kept.lines)
    replayed.take_mended()
    say(f"comparing the lines of {done.feed.name}")
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
            f"{done.feed.name}/{cursor.lane}: {counted} lines are counted as read, the journal "
            f"holds {lines} up to there.",
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
    name = done.feed.name
    said = {
        "missing": "{} of the journal of {} that {} not stored",
        "changed": "{} of {} that {} stored otherwise than the journal has it",
        "extra": "{} of {} that {} stored and not in the journal",
    }
    for kind, count in counts.items():
        if count:
            verb = "are" if count > 1 else "is"
            text = said[kind].format("1 line" if count == 1 else f"{count} lines", name, verb)
            if kind == "extra" and not whole:
                text += ", which cannot be read whole"
            when = listed([moment(entry[3]) for entry in groups[kind]], count)
            done.found(f"lines {kind}", f"There {verb} {text}: {when}.")
    if stored.mistimed:
        done.found(
            "lines mistimed",
            f"{stored.mistimed} lines of {name} are not timed by the clock correction in force.",
        )


def _proved(done: FeedCheck, what: str, now: Rows, then: Rows) -> None:
    """The rows of deleted segments are still those that stood there when they were deleted."""
    if now != then:
        done.found(
            f"thinned {what} differ",
            f"{then.count} {what} of {done.feed.name} were stored from segments thinned since; "
            f"of those {now.count} are there, or not all are as they were.",
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
        hole = "" if whole else " (the journal cannot be read whole)"
        done.found(
            "refused lines differ",
            f"Refused lines of {done.feed.name}: {counts['missing']} of the journal are not "
            f"stored, {counts['changed']} are stored otherwise, {counts['extra']} are stored and "
            f"not in the journal{hole}.",
        )


def _repeats(done: FeedCheck, expected: Sorter, stored: Sorter) -> None:
    """A line that came again is counted at least as often as its journal shows."""
    most: dict[tuple[int, int], float] = {}
    short = 0
    want = iter(expected)
    entry = next(want, None)
    for have in stored:
        most.clear()
        while entry is not None and entry[:2] <= have[:2]:
            if entry[:2] < have[:2]:
                short += 1
            else:
                most[have[:2]] = max(most.get(have[:2], 0), entry[3])
            entry = next(want, None)
        short += most.get(have[:2], 0) > have[3]
    short += entry is not None
    short += sum(1 for _ in want)
    stored.close()
    if short:
        done.found(
            "repeats miscounted",
            f"{short} lines of {done.feed.name} came again more often than is counted.",
        )


def _arcs(done: FeedCheck, cursors: list[Cursor], folder: Path, say: Say) -> None:
    feed = done.feed
    say(f"pairing the arcs of {feed.name}")
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
                examples.append(f"the one from {moment(start)} {problem}")
        if count:
            many = f"{count} quarter hours" if count > 1 else "1 quarter hour"
            done.found(
                "sums differ",
                f"The sums of {many} of {feed.name}, torch {torch}, are not those of its arcs: "
                f"{listed(examples, count)}.",
            )
    done.arcs = kept.sorted.count + len(kept.odd)
    if count := len(kept.misplaced):
        done.found(
            "arcs misplaced",
            f"{count} arcs of {feed.name} stand at another table than the one their lines were "
            f"read at: {listed([moment(us) for us in kept.misplaced[:SHOWN]], count)}.",
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
            f"{what.capitalize()} of {done.feed.name} are not what its lines give: "
            f"{counts['missing']} missing, {counts['changed']} changed, {counts['extra']} too "
            f"many ({listed(examples, total)}).",
        )


def _descriptions(feed: Feed) -> dict[int, Description]:
    """By version."""
    texts = FeedVersion.objects.filter(feed=feed).values_list("version", "text")
    return {version: parse_description(text, name=feed.name) for version, text in texts}
