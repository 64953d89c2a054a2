"""Where a program that computes goes on: its subprograms, loops and conditions, indexed once.

Not in NISTIR 6556; as they are commonly written: O-words (``O100 SUB``, ``CALL``, ``ENDSUB``,
``RETURN``, ``DO``, ``WHILE``, ``REPEAT``, ``IF``, ``ELSEIF``, ``ELSE``, ``BREAK``, ``CONTINUE``),
bare labels ``O100`` for M98 and M99, ``WHILE [ ] DO 1`` with ``END 1``, ``IF [ ] GOTO``, ``GOTO``
and ``IF [ ] THEN``.
"""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import dataclass, field
from typing import Final

from planning.calc.program.types import ProgramError
from planning.calc.said import said

WORDS: Final = (
    "ENDSUB|ENDWHILE|ENDREPEAT|ENDIF|SUB|CALL|RETURN|DO|WHILE|REPEAT|IF|ELSEIF|ELSE|BREAK|CONTINUE"
)
_O_WORD: Final = re.compile(rf"(?:N[0-9]+)?O([0-9]+|<[^<>]+>)({WORDS})(?![0-9])(.*)")
_LABEL: Final = re.compile(r"(?:N[0-9]+|:)?[O:]([0-9]{1,18})(?![0-9.A-Z<\[#]*(?:SUB|CALL))")
_PLAIN_FLOW: Final = re.compile(r"(?:N[0-9]+)?(IF|WHILE|GOTO|END)(.*)")
_NUMBERED: Final = re.compile(r"N([0-9]{1,18})(?![0-9])")  # no longer one is jumped to
# What a line that may do any of this holds; asked of lines without their comments.
_COMPUTES: Final = re.compile(
    rf"[#\[]|M0*9[789](?![0-9.])|^/?(?:N[0-9]+)?(?:O(?:[0-9]+|<[^<>]+>)(?:{WORDS})|GOTO)",
    re.MULTILINE,
)
_OPENS: Final = {"SUB": "ENDSUB", "WHILE": "ENDWHILE", "REPEAT": "ENDREPEAT", "IF": "ENDIF"}
_CLOSES: Final = {end: begin for begin, end in _OPENS.items()}


def computes(line: str) -> bool:
    """Whether a line without comments jumps, calls or works something out."""
    return _COMPUTES.search(line) is not None


@dataclass(frozen=True, slots=True)
class Step:
    """One flow word: ``keyword``, its label, and the rest of its line."""

    keyword: str
    label: str
    rest: str


def step_of(line: str) -> Step | None:
    """The flow word on a line without comments, None where it is a plain block."""
    found = _O_WORD.fullmatch(line)
    if found is not None:
        return Step(found[2], found[1].removeprefix("<").removesuffix(">"), found[3])
    found = _PLAIN_FLOW.fullmatch(line)
    return None if found is None else Step(f"PLAIN {found[1]}", "", found[2])


@dataclass(slots=True)
class Blocks:
    """Line indices (from 0): of each loop's and condition's other ends, and of all labels."""

    end: dict[int, int] = field(default_factory=dict)
    begin: dict[int, int] = field(default_factory=dict)
    branch: dict[int, int] = field(default_factory=dict)  # IF or ELSEIF to the next one or ENDIF
    subs: dict[str, int] = field(default_factory=dict)
    labels: dict[int, int] = field(default_factory=dict)
    numbered: dict[int, int] = field(default_factory=dict)
    loops: dict[str, list[tuple[int, int]]] = field(default_factory=dict)


def index_blocks(lines: list[str]) -> Blocks:
    """The blocks of lines without comments. Raises ``ProgramError`` for an end without its
    beginning; a beginning without an end is refused once it is run."""
    found = Blocks()
    open_: defaultdict[str, list[tuple[str, int, int]]] = defaultdict(list)
    for index, line in enumerate(lines):
        if not line:
            continue
        if (number := _NUMBERED.match(line)) is not None:
            found.numbered.setdefault(int(number[1]), index)
        step = step_of(line) if line[0] in "NOIWGE" else None
        if step is not None:
            _index(found, open_, step, index)
        elif line[0] in "NO:" and (label := _LABEL.match(line)) is not None:
            found.labels.setdefault(int(label[1]), index)
    return found


def _index(
    found: Blocks, open_: defaultdict[str, list[tuple[str, int, int]]], step: Step, index: int
) -> None:
    word, label = step.keyword, step.label
    if word == "PLAIN WHILE" and (number := re.search(r"\]DO([0-9]+)$", step.rest)):
        open_[f"DO {number[1]}"].append(("WHILE", index, index))
        return
    if word == "PLAIN END":
        word, label = "ENDWHILE", f"DO {step.rest}"
    stack = open_[label]
    if word == "WHILE" and stack and stack[-1][0] == "DO":
        _close(found, stack.pop(), index, label)
    elif word in _OPENS or word == "DO":
        stack.append((word, index, index))
        if word == "SUB":
            found.subs.setdefault(label, index)
    elif word in ("ELSEIF", "ELSE"):
        kind, begin, last = stack[-1] if stack else ("", 0, 0)
        if kind != "IF":
            raise ProgramError(
                index + 1, said("O{label} {word} without its IF", label=label, word=word)
            )
        found.branch[last] = index
        stack[-1] = kind, begin, index
    elif word in _CLOSES:
        if not stack or stack[-1][0] != _CLOSES[word]:
            raise ProgramError(
                index + 1,
                said(
                    "{word} of {label} without its {word2}",
                    word=word,
                    label=label,
                    word2=_CLOSES[word],
                ),
            )
        _close(found, stack.pop(), index, label)


def _close(found: Blocks, opened: tuple[str, int, int], index: int, label: str) -> None:
    kind, begin, last = opened
    found.end[begin] = index
    found.begin[index] = begin
    if kind == "IF":
        found.branch[last] = index
    elif kind != "SUB":
        found.loops.setdefault(label, []).append((begin, index))
