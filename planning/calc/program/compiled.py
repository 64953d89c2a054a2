"""A line of a program that computes, taken apart once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from planning.calc.program.expressions import Expression, ExpressionError, Key, Reader
from planning.calc.program.flow import Step, step_of
from planning.calc.program.types import ProgramError
from planning.calc.program.words import STRAIGHT, without_comments
from planning.calc.said import said, told

Settable = Key | Expression


@dataclass(frozen=True, slots=True)
class Words:
    """A block with its numbers still to be worked out; ``settings`` are made after it."""

    words: tuple[tuple[str, float | Expression], ...]
    settings: tuple[tuple[Settable, float | Expression], ...]
    calls: bool


@dataclass(frozen=True, slots=True)
class Flow:
    """A flow word with its bracketed values; ``then`` is what an IF ... THEN does."""

    step: Step
    values: tuple[Expression, ...] = ()
    then: Words | None = None
    target: int = 0


Straight = tuple[str | None, str | None, str | None]
Compiled = Straight | Words | Flow
_TESTS: Final = frozenset(("IF", "ELSEIF", "WHILE", "REPEAT"))


def compile_line(line: str, number: int, *, variables: bool) -> Compiled:
    """A line without comments, taken apart. Raises ``ProgramError``."""
    if "(" in line or ")" in line:
        line = without_comments(line, number)  # says what is wrong with it
    if line.startswith(":"):
        line = "N" + line[1:]
    simple = STRAIGHT.fullmatch(line)
    if simple is not None and (simple[2] or simple[3]):
        return simple[1], simple[2], simple[3]
    if not variables and ("#" in line or "[" in line):
        raise ProgramError(
            number, said("variables and expressions are not read: the table's settings say so")
        )
    try:
        step = step_of(line)
        return words_of_line(line, number) if step is None else _flow_of(step, number)
    except ExpressionError as error:
        raise ProgramError(number, told(error)) from error


def _flow_of(step: Step, number: int) -> Flow:
    reader = Reader(step.rest)
    if step.keyword.startswith("PLAIN"):
        return _plain_flow(step, reader, number)
    values = []
    while reader.peek("["):
        values.append(reader.bracket())
    if reader.at < len(reader.text):
        shown = reader.text[reader.at : reader.at + 12]
        raise ExpressionError(
            said("something follows {keyword}: {shown}", keyword=step.keyword, shown=shown)
        )
    if step.keyword in _TESTS and len(values) != 1:
        raise ExpressionError(said("{keyword} needs one value in [ ]", keyword=step.keyword))
    return Flow(step, tuple(values))


def _plain_flow(step: Step, reader: Reader, number: int) -> Flow:
    word = step.keyword.removeprefix("PLAIN ")
    values = (reader.bracket(),) if word in ("IF", "WHILE") else ()
    if word == "IF" and reader.peek("THEN"):
        return Flow(step, values, words_of_line(step.rest[reader.at + 4 :], number))
    if word == "IF":
        reader.take("GOTO")
    if word == "WHILE":
        reader.take("DO")
    target = reader.number()
    if target is None or reader.at < len(reader.text):
        raise ExpressionError(said("{word} is not followed by a number", word=word))
    return Flow(step, values, None, int(target))


def words_of_line(line: str, number: int) -> Words:
    """The words and settings of a block. Raises ``ExpressionError``."""
    reader = Reader(line)
    words: list[tuple[str, float | Expression]] = []
    settings: list[tuple[Settable, float | Expression]] = []
    while reader.at < len(line):
        letter = line[reader.at]
        if letter == "#":
            key = reader.key()
            reader.take("=")
            settings.append((key, reader.value()))
        elif letter.isascii() and letter.isalpha():
            reader.at += 1
            words.append((letter, reader.value()))
        else:
            raise ExpressionError(
                said("not a word of RS-274: {line}", line=line[reader.at : reader.at + 24])
            )
    calls = any(letter == "M" for letter, _ in words)
    return Words(tuple(words), tuple(settings), calls)
