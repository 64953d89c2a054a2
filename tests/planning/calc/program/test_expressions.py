"""Expressions as NISTIR 6556, 3.3.2 says; its printed examples are from memory."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from planning.calc.program.expressions import ExpressionError, Reader, evaluate
from planning.calc.program.variables import Variables


def worth(text: str, **named: float) -> float:
    values = Variables()
    for name, value in named.items():
        values.set(int(name[1:]) if name[1:].isdigit() else name.upper(), value)
    reader = Reader(text.upper().replace(" ", ""))
    of = reader.value()
    assert reader.at == len(reader.text)
    return evaluate(of, values)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        # Printed there, from memory: these three.
        ("[1 + acos[0] - [#3 ** [4.0/2]]]", 1 + 90 - 4),
        ("[2.0 / 3 * 1.5 - 5.5 / 11.0]", 0.5),
        ("##2", 2),
        # Power first, then x / mod, then + - and or xor; equal ranks from the left.
        ("[2 + 3 * 4]", 14),
        ("[2 ** 3 ** 2]", 64),
        ("[10 - 4 - 3]", 3),
        ("[24 / 4 / 2]", 3),
        ("[7 mod 4 * 2]", 6),
        ("[-7 mod 4]", 1),
        ("[1 or 0 - 1]", 0),  # from the left: [1 or 0] - 1
        ("[1 xor 1]", 0),
        ("[2 and 3]", 1),
        # Comparisons, which are not there, stand below.
        ("[1 + 1 eq 2]", 1),
        ("[#2 gt 2 and #3 lt 4]", 1),
        ("[#2 lt 2 or #3 ge 2]", 1),
        ("[3 ne 3]", 0),
        ("[2 le 1]", 0),
        # Degrees.
        ("sin[30]", 0.5),
        ("cos[60]", 0.5),
        ("tan[45]", 1),
        ("asin[1]", 90),
        ("atan[1]/[1]", 45),
        ("atan[1]/[-1]", 135),
        ("atan[-1]/[-1]", -135),
        ("fix[2.8]", 2),
        ("fix[-2.8]", -3),
        ("fup[2.2]", 3),
        ("fup[-2.8]", -2),
        ("round[2.5]", 3),
        ("round[-2.6]", -3),
        ("abs[-4]", 4),
        ("sqrt[16]", 4),
        ("exp[0]", 1),
        ("ln[exp[2]]", 2),
        ("-[2 + 3]", -5),
        ("-#3", -2),
        ("exists[#3]", 1),
        ("exists[#9]", 0),
        ("exists[#<wide>]", 1),
        ("[#<wide> * 2]", 14),
        ("#[1 + 1]", 3),
    ],
)
def test_values(text, value):
    assert worth(text, _2=3, _3=2, wide=7) == pytest.approx(value, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[1 / 0]", "divided by zero"),
        ("[1 mod 0]", "no finite value"),
        ("sqrt[-1]", "SQRT of -1 is no number"),
        ("acos[2]", "ACOS of 2"),
        ("ln[0]", "LN of 0"),
        ("[-8 ** 0.5]", "power"),
        ("exp[1000]", "no finite value"),
        ("[10 ** 300 * 10 ** 300]", "no finite value"),
        ("#9", "#9 has no value"),
        ("#<deep>", "#<deep> has no value"),
        ("#1.5", "must be whole"),
        ("[1 + 2", r"\] is missing"),
        ("[1 +]", "no number, variable or"),
        ("[]", "no number, variable or"),
        ("[" * 40 + "1" + "]" * 40, "more than 32 deep"),
    ],
)
def test_what_has_no_value_is_refused(text, said):
    with pytest.raises(ExpressionError, match=said):
        worth(text)


numbers = st.integers(-20, 20).map(float)


@given(st.lists(numbers, min_size=2, max_size=7), st.data())
def test_ranks_are_those_of_ordinary_arithmetic(values, data):
    """Python's own reader knows the same ranks for + - * / (not for power, whose equals it takes
    from the right)."""
    signs = [data.draw(st.sampled_from("+-*/")) for _ in values[1:]]
    text = repr(values[0]) + "".join(
        f"{sign}{value!r}" if value >= 0 else f"{sign}({value!r})"
        for sign, value in zip(signs, values[1:], strict=True)
    )
    ours = "[" + text.replace("(", "[").replace(")", "]") + "]"
    try:
        true = eval(text)
    except ZeroDivisionError:
        with pytest.raises(ExpressionError, match="zero"):
            worth(ours)
        return
    assert worth(ours) == pytest.approx(true, rel=1e-12, abs=1e-12)


@given(st.text("[]#<>ABCOSINTRQXEDMUFPLG0123456789.+-*/", max_size=40))
def test_no_text_does_more_than_be_refused(text):
    try:
        found = evaluate(Reader(text).value(), Variables())
    except ExpressionError:
        return
    assert math.isfinite(found)
