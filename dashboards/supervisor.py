"""Runs the program's processes on one machine: starts them, starts again what dies, ends all.

Children die with this process even when it is killed outright (the parent-death signal of
Linux), so no port or serial line stays taken.
"""

from __future__ import annotations

import ctypes
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from dashboards.logfiles import bound

PR_SET_PDEATHSIG = 1
RESTART_AFTER_S = (0.5, 1.0, 2.0, 5.0, 10.0)
STEADY_S = 60.0
STOP_WITHIN_S = 10.0
LOGS_EVERY_S = 2.0


@dataclass
class Child:
    """One program to keep running. `log` is a path its output goes to."""

    name: str
    command: Sequence[str]
    env: Mapping[str, str]
    log: str
    process: subprocess.Popen[bytes] | None = None
    started: float = 0.0
    deaths: int = 0
    start_at: float = field(default=0.0)


def _die_with_parent() -> None:
    ctypes.CDLL(None).prctl(PR_SET_PDEATHSIG, signal.SIGTERM)


class Supervisor:
    """`run()` returns when `stop()` was called or a signal came, after every child has ended."""

    def __init__(self, children: Sequence[Child], *, say: Callable[[str], None]) -> None:
        self.children = list(children)
        self.say = say
        self.stopping = False

    def stop(self, *_signal: object) -> None:
        self.stopping = True

    def run(self, *, each_round: Callable[[], None] = lambda: None) -> None:
        """`each_round` is called five times a second between looking after the children, and must
        not hold that up."""
        signal.signal(signal.SIGTERM, self.stop)
        signal.signal(signal.SIGINT, self.stop)
        try:
            for child in self.children:
                self._start(child)
            logs_at = 0.0
            while not self.stopping:
                self._mend()
                if time.monotonic() >= logs_at:
                    logs_at = time.monotonic() + LOGS_EVERY_S
                    for child in self.children:
                        bound(Path(child.log))
                each_round()
                time.sleep(0.2)
        finally:
            self._end()

    def _start(self, child: Child) -> None:
        with open(child.log, "ab") as log:
            child.process = subprocess.Popen(
                child.command,
                env=dict(child.env),
                stdout=log,
                stderr=subprocess.STDOUT,
                stdin=subprocess.DEVNULL,
                start_new_session=True,  # Ctrl-C reaches this process alone, which then ends all
                preexec_fn=_die_with_parent,  # this process has one thread
            )
        child.started = time.monotonic()

    def _mend(self) -> None:
        now = time.monotonic()
        for child in self.children:
            if child.process is None:
                if now >= child.start_at:
                    self._start(child)
                continue
            code = child.process.poll()
            if code is None:
                continue
            # What it started itself and left behind, as a worker killed outright leaves its clock.
            _signal_group(child.process, signal.SIGKILL)
            if now - child.started > STEADY_S:
                child.deaths = 0
            wait = RESTART_AFTER_S[min(child.deaths, len(RESTART_AFTER_S) - 1)]
            self.say(f"{child.name} ended with {code}; starting again in {wait:g} s ({child.log})")
            child.process, child.deaths, child.start_at = None, child.deaths + 1, now + wait

    def _end(self) -> None:
        running = [child.process for child in self.children if child.process]
        for process in running:
            _signal_group(process, signal.SIGTERM)
        until = time.monotonic() + STOP_WITHIN_S
        for process in running:
            try:
                process.wait(timeout=max(0.1, until - time.monotonic()))
            except subprocess.TimeoutExpired:
                _signal_group(process, signal.SIGKILL)
                process.wait()
            _signal_group(process, signal.SIGKILL)


def _signal_group(process: subprocess.Popen[bytes], sign: signal.Signals) -> None:
    try:
        os.killpg(process.pid, sign)
    except ProcessLookupError:
        return


def python(*words: str) -> list[str]:
    """A command line that runs this same interpreter."""
    return [sys.executable, *words]
