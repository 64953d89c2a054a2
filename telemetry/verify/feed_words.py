"""What is said of one source's journal, lines, arcs and sums where they do not agree."""

from __future__ import annotations

from telemetry.said import noop as N_
from telemetry.said import plural

REFUSED = N_(
    "Refused lines of {source}: {missing} of the journal are not stored, {changed} are stored "
    "otherwise, {extra} are stored and not in the journal."
)
REFUSED_NOT_WHOLE = N_(
    "Refused lines of {source}: {missing} of the journal are not stored, {changed} are stored "
    "otherwise, {extra} are stored and not in the journal (the journal cannot be read whole)."
)
DIFFER = {
    "arcs": N_(
        "Arcs of {source} are not what its lines give: {missing} missing, {changed} changed, "
        "{extra} too many ({examples})."
    ),
    "strays": N_(
        "Strays of {source} are not what its lines give: {missing} missing, {changed} changed, "
        "{extra} too many ({examples})."
    ),
}
THINNED = {
    "lines": N_(
        "{then} lines of {source} were stored from segments thinned since; of those {now} are "
        "there, or not all are as they were."
    ),
    "refused lines": N_(
        "{then} refused lines of {source} were stored from segments thinned since; of those {now} "
        "are there, or not all are as they were."
    ),
}
# One and many, by how lines differ.
LINES = {
    "missing": plural(
        "There is 1 line of the journal of {source} that is not stored: {when}.",
        "There are {number} lines of the journal of {source} that are not stored: {when}.",
    ),
    "changed": plural(
        "There is 1 line of {source} that is stored otherwise than the journal has it: {when}.",
        "There are {number} lines of {source} that are stored otherwise than the journal has it: "
        "{when}.",
    ),
    "extra": plural(
        "There is 1 line of {source} that is stored and not in the journal: {when}.",
        "There are {number} lines of {source} that are stored and not in the journal: {when}.",
    ),
    "extra, not whole": plural(
        "There is 1 line of {source} that is stored and not in the journal, which cannot be read "
        "whole: {when}.",
        "There are {number} lines of {source} that are stored and not in the journal, which cannot "
        "be read whole: {when}.",
    ),
}
SUMS = plural(
    "The sums of 1 quarter hour of {source}, torch {torch}, are not those of its arcs: {examples}.",
    "The sums of {number} quarter hours of {source}, torch {torch}, are not those of its arcs: "
    "{examples}.",
)
MISPLACED = plural(
    "{number} arc of {source} stands at another table than the one its lines were read at: "
    "{examples}.",
    "{number} arcs of {source} stand at another table than the one their lines were read at: "
    "{examples}.",
)
MISTIMED = plural(
    "{number} line of {source} is not timed by the clock correction in force.",
    "{number} lines of {source} are not timed by the clock correction in force.",
)
REPEATS = plural(
    "{number} line of {source} came again more often than is counted.",
    "{number} lines of {source} came again more often than is counted.",
)
THINNED_NOTE = N_(
    "The journal of {journal} was thinned, last on {day}: {segments} segments with "
    "records up to {last} and {lines} lines were deleted for their age."
)
TOO_SHORT = N_(
    "Lines of {journal} were stored up to record {stored}, but its journal ends with record {last}."
)
MISCOUNTED = N_(
    "{journal}: {counted} lines are counted as read, the journal holds {lines} up to there."
)
