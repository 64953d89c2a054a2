"""Work on several feeds by two processes."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import Any, TypeVar

from django.db import connection

from telemetry.errors import SourceError

T = TypeVar("T")
Tell = Callable[[int], None]


@dataclass(frozen=True, slots=True)
class Group:
    """Numbers of pieces of work to be done one after the other, and how much they are."""

    pieces: list[int]
    size: int


def run_in_two_processes(
    work: Callable[[int, Tell], T], groups: Sequence[Group], progress: Tell
) -> dict[int, T]:
    """`work(n, tell)` for each piece; `progress` is given the sum of what each told last.

    With a database server, half of the groups are done by a process beside this one: while the
    server works for one, the other decodes, which two threads would do by turns. SQLite takes one
    writer at a time. The first error ends both, when the piece begun is done. Where the other
    process is ended from outside, that is a SourceError as soon as this one's work next tells how
    far it is; nor does the other outlive this one.
    """
    pieces = [n for group in groups for n in group.pieces]
    told = _FORK.RawArray("q", max(pieces, default=0) + 1)
    stop = _FORK.RawValue("b", 0)
    first = os.getpid()
    beside: list[BaseProcess] = []

    def some(numbers: Sequence[int]) -> dict[int, T]:
        done: dict[int, T] = {}
        for n in numbers:
            if stop.value:
                break

            def tell(amount: int, n: int = n) -> None:
                if first not in (os.getpid(), os.getppid()):
                    raise SystemExit(1)  # it was killed: nobody knows that this one holds locks
                if os.getpid() == first and beside and beside[0].exitcode:
                    raise _ended()
                told[n] = amount
                progress(sum(told))

            try:
                done[n] = work(n, tell)
            except BaseException:
                stop.value = 1
                raise
        return done

    if connection.vendor != "postgresql" or len(groups) < 2:
        return some(pieces)
    ours, theirs = _halves(groups)
    connection.close()  # two processes speaking over one would mix their words
    there, back = _FORK.Pipe(duplex=False)
    process = _FORK.Process(target=_answer, args=(some, theirs, there, back))
    process.start()
    beside.append(process)
    back.close()
    try:
        return some(ours) | _received(there)
    finally:
        there.close()  # else it might wait for ever to be heard
        process.join()


def _halves(groups: Sequence[Group]) -> tuple[list[int], list[int]]:
    """The pieces of two halves about as large."""
    halves: tuple[list[int], list[int]] = ([], [])
    sizes = [0, 0]
    for group in sorted(groups, key=lambda group: -group.size):
        smaller = sizes.index(min(sizes))
        sizes[smaller] += group.size
        halves[smaller].extend(group.pieces)
    return halves


def _answer(
    some: Callable[[list[int]], Any], pieces: list[int], there: Connection, back: Connection
) -> None:
    there.close()
    answer: Any
    try:
        answer = some(pieces)
    except Exception as error:
        answer = error
    except KeyboardInterrupt:  # the first process was told too, and says so
        return
    finally:
        connection.close()
    with contextlib.suppress(BrokenPipeError):  # nobody asks any more: the other side failed
        back.send(answer)


def _ended() -> SourceError:
    return SourceError(
        "the process beside this one was ended", hint="run it again: what was read stays read"
    )


def _received(there: Connection) -> dict[int, Any]:
    try:
        answer = there.recv()
    except EOFError as error:
        raise _ended() from error
    if isinstance(answer, Exception):
        raise answer
    found: dict[int, Any] = answer
    return found


_FORK = multiprocessing.get_context("fork")
