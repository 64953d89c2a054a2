"""Files that people bring are read in a process of their own, with limits on time, memory and
what comes back: a small file made to cost much ends that process and nothing else."""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, Final

from django.utils.translation import gettext as _

from planning.calc.numbers import filled

MB: Final = 1024 * 1024
ROOT: Final = Path(__file__).resolve().parent.parent.parent
AT_ONCE = threading.BoundedSemaphore(2)  # a process; more would only share the same cores
WAIT_S: Final = 20.0


@dataclass(frozen=True, slots=True)
class Limits:
    """`seconds` on the clock and of processor time, `memory_mb` of address space, `result_mb` of
    what is handed back."""

    seconds: float
    memory_mb: int
    result_mb: int


READERS: Final = {
    "workbook": ("shopfloor.files.workbook:read_workbook", Limits(20, 1024, 64)),
    "photo": ("shopfloor.terminal.photo_codes:codes_in", Limits(15, 1024, 1)),
    "drawing": ("planning.calc.drawing:read_drawing", Limits(40, 2048, 256)),
    "drawings": ("planning.calc.drawing.many:read_drawings", Limits(60, 2048, 256)),
    "packed": ("shopfloor.files.packed:read_packed", Limits(20, 1024, 160)),
    "program": ("planning.calc.program:read_whole", Limits(40, 2048, 256)),
}
LONG_PROGRAM: Final = Limits(600, 6144, 1024)  # taken in beside the pages, and can be stopped

Tell = Callable[[int, int], None]


class TooCostly(ValueError):
    """A file passed a limit, or ended its reader. The message says which, for who brought it."""


def read_apart(
    kind: str, *args: Any, limits: Limits | None = None, tell: Tell | None = None
) -> Any:
    """What the reader of `kind` (see `READERS`) makes of `args`. Raises what that reader
    raises for a bad file, and TooCostly. `tell` hears how many of how many steps are done; what
    it raises ends the reading."""
    reader, usual = READERS[kind]
    if not AT_ONCE.acquire(timeout=WAIT_S):
        raise TooCostly(_("Other files are being read just now. Try again in a minute."))
    try:
        return _Reading(reader, limits or usual, tells=tell is not None).run(args, tell)
    finally:
        AT_ONCE.release()


def environment() -> dict[str, str]:
    """What the child needs of ours: no address or password of a database goes to it."""
    return {"PATH": os.environ.get("PATH", ""), "OPENBLAS_NUM_THREADS": "1"}


class _Reading:
    def __init__(self, reader: str, limits: Limits, *, tells: bool) -> None:
        self.limits = limits
        self.late = False
        self.child = subprocess.Popen(
            [sys.executable, "-m", "shopfloor.files.child", reader, str(int(tells)),
             str(limits.seconds), str(limits.memory_mb), str(limits.result_mb)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, cwd=ROOT,
            env=environment(),
        )  # fmt: skip

    def run(self, args: tuple[Any, ...], tell: Tell | None) -> Any:
        clock = threading.Timer(self.limits.seconds + 2, self._end)
        clock.start()
        try:
            self._send(args)
            return self._answer(tell)
        finally:
            clock.cancel()
            self.child.kill()
            self.child.wait()
            for pipe in (self.child.stdin, self.child.stdout):
                if pipe is not None:
                    _close(pipe)

    def _end(self) -> None:
        self.late = True
        self.child.kill()

    def _send(self, args: tuple[Any, ...]) -> None:
        if self.child.stdin is None:
            raise RuntimeError("the reader was started without a pipe")
        with suppress(BrokenPipeError):  # it ended early: its last word or its status says why
            pickle.dump(args, self.child.stdin, protocol=5)
            self.child.stdin.close()

    def _answer(self, tell: Tell | None) -> Any:
        if self.child.stdout is None:
            raise RuntimeError("the reader was started without a pipe")
        while True:
            try:
                word, said = pickle.load(self.child.stdout)  # noqa: S301 -- from our own child
            except (EOFError, pickle.UnpicklingError):
                raise TooCostly(self._why()) from None
            if word == "step" and tell is not None:
                tell(*said)
            elif word == "done":
                return pickle.loads(said)  # noqa: S301 -- likewise
            elif word == "fault":
                raise said
            elif word == "over":
                raise TooCostly(self._said(said))

    def _why(self) -> str:
        """By how the child ended: SIGXCPU is the processor's limit."""
        ended = self.child.wait()
        if self.late or ended == -24:
            return self._said("time")
        return self._said("end")

    def _said(self, which: str) -> str:
        return {
            "time": filled(
                _("Reading it took over {seconds:g} s, so it was stopped."),
                seconds=self.limits.seconds,
            ),
            "memory": _("Reading it needs over {memory_mb} MB of memory: stopped.").format(
                memory_mb=self.limits.memory_mb
            ),
            "result": _("What it holds comes to over {result_mb} MB: not taken.").format(
                result_mb=self.limits.result_mb
            ),
            "end": _("Reading it ended the reader: the file is damaged, or made to do that."),
        }[which]


def _close(pipe: IO[bytes]) -> None:
    with suppress(BrokenPipeError):  # what was still to be sent has no reader any more
        pipe.close()
