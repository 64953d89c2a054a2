"""Runs a program that computes: variables, loops, conditions, subprograms.

Bounds end a program that does not end itself: 2,000,000 blocks run, of which each test of a loop
counts one; calls 16 deep; brackets 32 deep. A line is taken apart once, however often it runs. A
move keeps the number of the line it is written on, and modes survive a return.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from planning.calc.program.block import number_within, parse_block
from planning.calc.program.compiled import Compiled, Flow, Words, compile_line, words_of_line
from planning.calc.program.expressions import ExpressionError, evaluate
from planning.calc.program.flow import Blocks, index_blocks, step_of
from planning.calc.program.interpreter import Interpreter
from planning.calc.program.types import ProgramError
from planning.calc.program.variables import Variables
from planning.calc.said import said, told

MOST_BLOCKS: Final = 2_000_000
DEEPEST_CALL: Final = 16
_CALLS: Final = frozenset((97.0, 98.0, 99.0))


@dataclass(slots=True)
class Call:
    """Where a call goes back to; ``again`` how often it is still repeated; ``repeats`` counts of
    its own loops by line."""

    back: int = -1
    entry: int = -1
    again: int = 0
    repeats: dict[int, int] = field(default_factory=dict)


class Computer:
    """One run of ``lines``, which hold no comments. ``variables`` False refuses expressions."""

    def __init__(self, machine: Interpreter, lines: list[str], *, variables: bool) -> None:
        self.machine = machine
        self.lines = lines
        self.values = Variables()
        self.allowed = variables
        self.blocks = 0
        self.ran = 0
        self.called = False
        self.last = 1
        self.budget = max(MOST_BLOCKS, len(lines))
        self.where: Blocks = index_blocks(lines)
        self.code: list[Compiled | None] = [None] * len(lines)
        self.calls = [Call()]
        self._fenced = False

    def run(self) -> None:
        """Run from the first line until the program ends. Raises ``ProgramError``."""
        at, count = 0, len(self.lines)
        while 0 <= at < count and not self.machine.ended:
            line = self.lines[at]
            if not line:
                at += 1
                continue
            self.last = at + 1
            if line[0] == "%":
                if self._fenced or self.blocks:
                    break
                self._fenced = True
                at += 1
                continue
            self._count(at + 1)
            try:
                at = self._line(at, line)
            except ExpressionError as error:
                raise ProgramError(at + 1, told(error)) from error
        if at >= count and len(self.calls) > 1:
            began = self.calls[-1].back
            raise ProgramError(
                began, said("the subprogram called here does not return: M99 is missing")
            )

    def _count(self, number: int) -> None:
        self.ran += 1
        if self.ran > self.budget:
            raise ProgramError(
                number,
                said(
                    "{budget:,} blocks were run and the program has not ended: a loop here "
                    "or around it has no end",
                    budget=self.budget,
                ),
            )

    def _line(self, at: int, line: str) -> int:
        """Run line ``at``; the line to go on with."""
        code = self.code[at]
        if code is None:
            code = self.code[at] = compile_line(line, at + 1, variables=self.allowed)
        if isinstance(code, tuple):
            if self.machine.straight(at + 1, *code):
                self.blocks += 1
                return at + 1
            code = self.code[at] = words_of_line(line, at + 1)
        if isinstance(code, Flow):
            return self._flow(code, at)
        return self._block(code, at)

    def _block(self, code: Words, at: int) -> int:
        values = self.values
        pairs = [(letter, evaluate(of, values)) for letter, of in code.words]
        made = [(key, evaluate(of, values)) for key, of in code.settings]
        names = [int(key(values)) if callable(key) else key for key, _ in made]
        to = at + 1
        if pairs:
            self.blocks += 1
            called = [number for letter, number in pairs if letter == "M" and number in _CALLS]
            if code.calls and called:
                to = self._called(pairs, called[0], at)
            else:
                self.machine.run(parse_block(pairs, at + 1), at + 1)
        for key, (_, number) in zip(names, made, strict=True):
            values.set(key, number)
        return to

    def _called(self, pairs: list[tuple[str, float]], code: float, at: int) -> int:
        """M97, M98 and M99, after what else stands in their block."""
        own = {letter: number_within(letter, number, at + 1) for letter, number in pairs}
        rest = [
            (letter, number)
            for letter, number in pairs
            if letter not in "PLN" and not (letter == "M" and number in _CALLS)
        ]
        if rest:
            self.machine.run(parse_block(rest, at + 1), at + 1)
        if code == 99.0:
            return self._returned(at, own.get("P"))
        if "P" not in own:
            raise ProgramError(
                at + 1, said("M{code:g} without the number of its subprogram in P", code=code)
            )
        entry, again = self._entry(code, int(own["P"]), at), int(own.get("L", 1))
        if entry[1] > 1:
            again = entry[1]
        return at + 1 if again < 1 else self._enter(entry[0], at, again, None)

    def _entry(self, code: float, number: int, at: int) -> tuple[int, int]:
        """(line index, repeats that the number itself carries) of a subprogram."""
        if code == 97.0:
            found = self.where.numbered.get(number)
        else:
            found = self.where.labels.get(number)
            if found is None and str(number) in self.where.subs:
                found = self.where.subs[str(number)] + 1
        if found is None and code == 98.0 and number >= 10_000:
            return self._entry(code, number % 10_000, at)[0], number // 10_000
        if found is None:
            word = "N" if code == 97.0 else "O"
            raise ProgramError(
                at + 1,
                said(
                    "M{code:g} calls {word}{number}, which is not in this program",
                    code=code,
                    word=word,
                    number=number,
                ),
            )
        return found, 1

    def _enter(self, entry: int, at: int, again: int, arguments: list[float] | None) -> int:
        if len(self.calls) > DEEPEST_CALL:
            raise ProgramError(
                at + 1,
                said(
                    "subprograms are called more than {deepest_call} deep",
                    deepest_call=DEEPEST_CALL,
                ),
            )
        self.called = True
        self.calls.append(Call(at + 1, entry, again - 1))
        self.values.enter(arguments)
        return entry

    def _returned(self, at: int, jump: float | None = None) -> int:
        if len(self.calls) == 1:
            text = said("M99 starts the program anew: it is read once")
            self.machine.notes.once(at + 1, text)
            self.machine.ended = True
            return at + 1
        call = self.calls[-1]
        if call.again > 0 and jump is None:
            call.again -= 1
            call.repeats.clear()
            return call.entry
        self.calls.pop()
        self.values.leave()
        return call.back if jump is None else self._numbered(int(jump), at)

    def _numbered(self, number: int, at: int) -> int:
        found = self.where.numbered.get(number)
        if found is None:
            raise ProgramError(
                at + 1, said("goes on at N{number}, which is not in this program", number=number)
            )
        return found

    def _flow(self, code: Flow, at: int) -> int:
        handler: Callable[[Flow, int], int] = getattr(self, _HANDLERS[code.step.keyword])
        return handler(code, at)

    def _true(self, code: Flow) -> bool:
        return evaluate(code.values[0], self.values) != 0

    def _end(self, at: int, what: str) -> int:
        found = self.where.end.get(at)
        if found is None:
            raise ProgramError(at + 1, said("{what} has no end", what=what))
        return found

    def _sub(self, code: Flow, at: int) -> int:
        return self._end(at, f"SUB {code.step.label}") + 1

    def _return(self, code: Flow, at: int) -> int:
        if len(self.calls) == 1:
            raise ProgramError(
                at + 1, said("{keyword} outside of any call", keyword=code.step.keyword)
            )
        if code.values:
            self.values.set("_VALUE", evaluate(code.values[0], self.values))
        return self._returned(at)

    def _call(self, code: Flow, at: int) -> int:
        label = code.step.label
        found = self.where.subs.get(label)
        if found is None:
            raise ProgramError(
                at + 1,
                said("{lower} is called, and its SUB is not in this program", lower=label.lower()),
            )
        arguments = [evaluate(of, self.values) for of in code.values]
        return self._enter(found + 1, at, 1, arguments)

    def _while(self, code: Flow, at: int) -> int:
        begin = self.where.begin.get(at)
        if begin is not None:  # the end of a DO
            return begin + 1 if self._true(code) else at + 1
        end = self._end(at, "WHILE")
        return at + 1 if self._true(code) else end + 1

    def _repeat(self, code: Flow, at: int) -> int:
        times = evaluate(code.values[0], self.values)
        end = self._end(at, "REPEAT")
        if times < 1:
            return end + 1
        self.calls[-1].repeats[at] = round(times) - 1
        return at + 1

    def _again(self, code: Flow, at: int) -> int:
        return self.where.begin[at]

    def _repeated(self, code: Flow, at: int) -> int:
        begin = self.where.begin[at]
        left = self.calls[-1].repeats.get(begin, 0)
        self.calls[-1].repeats[begin] = left - 1
        return begin + 1 if left > 0 else at + 1

    def _if(self, code: Flow, at: int) -> int:
        to = self._branch(at)
        if self._true(code):
            return at + 1
        while True:
            other = self.code[to] or compile_line(self.lines[to], to + 1, variables=self.allowed)
            self.code[to] = other
            if not isinstance(other, Flow) or other.step.keyword != "ELSEIF":
                return to + 1
            self._count(to + 1)
            if self._true(other):
                return to + 1
            to = self._branch(to)

    def _branch(self, at: int) -> int:
        found = self.where.branch.get(at)
        if found is None:
            raise ProgramError(at + 1, said("IF has no ENDIF"))
        return found

    def _otherwise(self, code: Flow, at: int) -> int:
        """The branch before this one was run."""
        while at in self.where.branch:
            at = self.where.branch[at]
        return at + 1

    def _next(self, code: Flow, at: int) -> int:
        return at + 1

    def _leave(self, code: Flow, at: int) -> int:
        return self._loop(code, at)[1] + 1

    def _continue(self, code: Flow, at: int) -> int:
        begin, end = self._loop(code, at)
        keyword = step_of(self.lines[begin])
        return end if keyword is not None and keyword.keyword in ("DO", "REPEAT") else begin

    def _loop(self, code: Flow, at: int) -> tuple[int, int]:
        around = [
            (begin, end)
            for begin, end in self.where.loops.get(code.step.label, [])
            if begin < at < end
        ]
        if not around:
            raise ProgramError(
                at + 1, said("{keyword} outside of its loop", keyword=code.step.keyword)
            )
        return max(around)

    def _goto(self, code: Flow, at: int) -> int:
        if code.values and not self._true(code):
            return at + 1
        return self._numbered(code.target, at) if code.then is None else self._block(code.then, at)


_HANDLERS: Final = {
    "SUB": "_sub", "ENDSUB": "_return", "RETURN": "_return", "CALL": "_call", "DO": "_next",
    "WHILE": "_while", "ENDWHILE": "_again", "REPEAT": "_repeat", "ENDREPEAT": "_repeated",
    "IF": "_if", "ELSEIF": "_otherwise", "ELSE": "_otherwise", "ENDIF": "_next",
    "BREAK": "_leave", "CONTINUE": "_continue", "PLAIN GOTO": "_goto", "PLAIN IF": "_goto",
    "PLAIN WHILE": "_while", "PLAIN END": "_again",
}  # fmt: skip
