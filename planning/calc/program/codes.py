"""What each G and M code does to a path, as tables.

Source: NISTIR 6556 (Kramer, Proctor, Messina: The NIST RS274/NGC Interpreter, version 3, 2000),
tables 5 and 7; G70 and G71 for inch and metric as in ISO 6983-1 (from memory).
"""

from __future__ import annotations

from planning.calc.said import said

MODAL_GROUP: dict[float, str] = {
    **dict.fromkeys((0.0, 1.0, 2.0, 3.0, 80.0), said("motion")),
    **dict.fromkeys((17.0, 18.0, 19.0), said("plane")),
    **dict.fromkeys((20.0, 21.0, 70.0, 71.0), said("units")),
    **dict.fromkeys((40.0, 41.0, 42.0), said("cutter compensation")),
    **dict.fromkeys(
        (54.0, 55.0, 56.0, 57.0, 58.0, 59.0, 59.1, 59.2, 59.3), said("coordinate system")
    ),
    **dict.fromkeys((61.0, 61.1, 64.0), said("path control")),
    **dict.fromkeys((90.0, 91.0), said("distance")),
    **dict.fromkeys((90.1, 91.1), said("arc centre")),
    **dict.fromkeys((93.0, 94.0, 95.0), said("feed")),
    **dict.fromkeys((4.0, 10.0, 28.0, 53.0, 92.0, 92.1, 92.2, 92.3), said("non-modal")),
}

COMPENSATION_NOTE = said("cutter compensation is on: lengths are of the programmed path")

# Codes that would change where the torch goes, in a way this reader does not follow.
PATH_CHANGING: dict[float, str] = {
    5.0: said("splines"),
    5.1: said("splines"),
    5.2: said("splines"),
    5.3: said("splines"),
    7.0: said("diameter mode"),
    8.0: said("radius mode"),
    12.0: said("circular pockets"),
    13.0: said("circular pockets"),
    16.0: said("polar coordinates"),
    30.0: said("the second home position"),
    33.0: said("threading"),
    51.0: said("scaling"),
    51.1: said("mirroring"),
    52.0: said("local coordinate systems"),
    65.0: said("macros"),
    66.0: said("macros"),
    68.0: said("rotation"),
    72.0: said("cycles"),
    **dict.fromkeys((73.0, 74.0, 76.0, 81.0, 82.0, 83.0, 84.0, 85.0, 86.0, 87.0, 88.0, 89.0),
                    said("canned cycles")),
    95.0: said("feed per revolution"),
}  # fmt: skip

# Words with which an unknown G code might move the torch.
PATH_WORDS = frozenset("XYIJR")

CYCLES_OFF = 80.0
PROGRAM_END = frozenset((2.0, 30.0))
PAUSE = frozenset((0.0, 1.0, 60.0))
SUBPROGRAM = frozenset((97.0, 98.0, 99.0))

REFUSED_LETTERS: dict[str, str] = {
    "E": said("E is not a word of RS-274; a number such as 1e-05 must be written out"),
    "U": said("U moves a second axis beside X, which is not read"),
    "V": said("V moves a second axis beside Y, which is not read"),
    "W": said("W moves a second axis beside Z, which is not read"),
}


def code_name(letter: str, number: float) -> str:
    return f"{letter}{number:g}"


def code_number(text: str, letter: str = "M") -> float:
    """The number of a code as a person writes it: ``M03`` and ``m3`` are 3.

    Raises ``ValueError`` for anything that is not the letter and a number.
    """
    bare = text.strip().upper()
    digits = bare.removeprefix(letter)
    if not bare.startswith(letter) or not digits.replace(".", "", 1).isdecimal():
        raise ValueError(
            said("{text!r} is not an {letter} code such as {letter}3", text=text, letter=letter)
        )
    return float(digits)
