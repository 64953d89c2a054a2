"""What the name of a drawing's file says of the part: how many, of what, how thick.

Common practice, no source: shops write it as `bracket_10mm_S355_x20.dxf`, in any order and with any
of these signs between. What a name says twice, and differently, is not taken.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from planning.calc.said import said

MOST_LETTERS: Final = 200
MOST_WORDS: Final = 5  # of a material's name
Span = tuple[int, int]

_HERE, _END = r"(?<![A-Za-z0-9.,])", r"(?![A-Za-z0-9])"
_MANY: Final = re.compile(
    _HERE + r"(?:(?:x|×)(?P<times>\d{1,6})|(?:qty|quantity|q)[ ._=-]?(?P<qty>\d{1,6})"
    r"|(?P<of>\d{1,6})(?P<word>[ _-]?(?:off|pcs|pc|pieces|piece|ea|nos)|x|×))" + _END,
    re.I,
)
_ONLY_NUMBER: Final = re.compile(r"(?:^|[\s_-])\d+(?:[.,]\d+)?\s*$")
_THICK: Final = r"(?:(?:t|th|thk|thickness)[ =_-]?)?"
_UNIT_IN: Final = r"[ ]?(?:inches|inch|in|\"|″)"
_FRACTION: Final = re.compile(
    _HERE + _THICK + r"(?:(?P<whole>\d{1,2})[ -])?(?P<num>\d{1,2})[-⁄∕](?P<den>2|4|8|16|32|64)"
    + _UNIT_IN + _END, re.I,
)  # fmt: skip
_INCHES: Final = re.compile(
    _HERE + _THICK + r"(?P<n>\d{1,2}(?:[.,]\d+)?|[.,]\d+)" + _UNIT_IN + _END, re.I
)
_MM: Final = re.compile(_HERE + _THICK + r"(?P<n>\d{1,3}(?:[.,]\d+)?)[ ]?mm" + _END, re.I)
_GAUGE: Final = re.compile(_HERE + r"(?P<n>\d{1,2})[ ]?(?:gauge|gage|ga)" + _END, re.I)
_BARE: Final = re.compile(_HERE + r"(?:t|th|thk)=?(?P<n>\d{1,3}(?:[.,]\d+)?)" + _END, re.I)
_WORD: Final = re.compile(r"[^\W_]+(?:[.][^\W_]+)*")
_PLAIN: Final = re.compile(r"[\W_]")


@dataclass(frozen=True, slots=True)
class PartName:
    """`thickness` is as a person would type it (10 mm, 1/4 in, 16 ga; a bare number where the name
    has no unit), `material` a code of those asked for; "" and None are unsaid. `doubts` say what
    the name gives more than one of."""

    part: str
    quantity: int | None
    thickness: str
    material: str
    doubts: tuple[str, ...] = ()


def read_name(file_name: str, materials: Mapping[str, Sequence[str]]) -> PartName:
    """`materials` gives the words that stand for each code, itself among them."""
    stem = re.sub(r"\.dxf$", "", file_name.replace("\\", "/").rsplit("/", 1)[-1], flags=re.I)
    stem = stem[:MOST_LETTERS]
    doubts: list[str] = []
    taken: list[Span] = []
    thickness = _one(_thicknesses(stem), said("thicknesses"), doubts, taken)
    quantity = _one(_quantities(stem), said("quantities"), doubts, taken)
    material = _one(_materials(stem, materials, taken), said("materials"), doubts, taken)
    return PartName(
        _left(stem, taken) or stem, int(quantity) if quantity else None, thickness, material,
        tuple(doubts),
    )  # fmt: skip


def _one(found: Iterator[tuple[str, Span]], what: str, doubts: list[str], taken: list[Span]) -> str:
    """The only thing of its kind; "" where there is none, or more than one."""
    spans: dict[str, list[Span]] = {}
    for text, span in found:
        spans.setdefault(text, []).append(span)
    if len(spans) > 1:
        doubts.append(said("its name has several {what}: {found}", what=what,
                           found=", ".join(spans)))  # fmt: skip
    if len(spans) != 1:
        return ""
    text, where = spans.popitem()
    taken += where
    return text


def _quantities(stem: str) -> Iterator[tuple[str, Span]]:
    for match in _MANY.finditer(stem):
        by_x = match["times"] or (match["word"] or "").lower() in ("x", "×")
        before, after = stem[: match.start()], stem[match.end() :]
        # 100 x50 and 100x 50 are the sides of a part
        sides = match["times"] and before[-1:] == " " and _ONLY_NUMBER.search(before.rstrip())
        if by_x and (sides or (re.match(r"\s*\d", after) and not match["times"])):
            continue
        count = int(match["times"] or match["qty"] or match["of"])
        if count:
            yield str(count), match.span()


def _thicknesses(stem: str) -> Iterator[tuple[str, Span]]:
    ends: list[Span] = []
    for pattern in (_FRACTION, _INCHES, _MM, _GAUGE, _BARE):
        for match in pattern.finditer(stem):
            if any(a < match.end() and match.start() < b for a, b in ends):
                continue
            ends.append(match.span())
            if pattern is _FRACTION:
                whole = f"{match['whole']} " if match["whole"] else ""
                yield f"{whole}{match['num']}/{match['den']} in", match.span()
            else:
                unit = {_INCHES: " in", _MM: " mm", _GAUGE: " ga", _BARE: ""}[pattern]
                yield match["n"].replace(",", ".") + unit, match.span()


def _materials(
    stem: str, materials: Mapping[str, Sequence[str]], taken: Sequence[Span]
) -> Iterator[tuple[str, Span]]:
    """The longest names first, so that "304 L" is not taken for "304" as well."""
    known = {_bare(word): code for code, words in materials.items() for word in words}
    known.pop("", None)
    words = [
        match for match in _WORD.finditer(stem)
        if not any(a < match.end() and match.start() < b for a, b in taken)
    ]  # fmt: skip
    used: set[int] = set()
    for length in range(MOST_WORDS, 0, -1):
        for first in range(len(words) - length + 1):
            these = range(first, first + length)
            if used.intersection(these):
                continue
            code = known.get(_bare("".join(words[k][0] for k in these)))
            if code is not None:
                used.update(these)
                yield code, (words[first].start(), words[first + length - 1].end())


def _bare(word: str) -> str:
    return _PLAIN.sub("", word).lower()


def _left(stem: str, taken: Sequence[Span]) -> str:
    """The name without what was understood; one sign is left where several meet."""
    kept = "".join(
        "\0" if any(a <= i < b for a, b in taken) else letter for i, letter in enumerate(stem)
    )
    kept = re.sub(r"[\s_-]*\0+[\s_-]*", lambda run: run[0].replace("\0", "")[:1], kept)
    kept = re.sub(r"\(\s*\)|\[\s*\]", "", kept)
    return kept.strip(" _-.,;+")
