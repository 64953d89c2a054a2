"""Runs the tests of a file against changes of it, each in a process of its own."""

from __future__ import annotations

import importlib
import os
import signal
import sys
import time
from contextlib import suppress
from pathlib import Path

from tests.mutants.changes import Change

LIBRARIES = ("numpy", "pandas", "shapely", "django.db", "celery", "hypothesis", "pytest")
ROOT = str(Path(__file__).resolve().parents[2])
PYTEST = (
    "-q", "-x", "-n0", "-p", "no:randomly", "-p", "no:cacheprovider", "--nomigrations",
    "--hypothesis-seed=0", "-W", "ignore::pytest.PytestAssertRewriteWarning",
    "-m", "not slow and not long and not browser and not served",
)  # fmt: skip


def preload() -> None:
    """Imports what takes long once, for all processes forked from here. Nothing of ours: that is
    imported from the copy, as changed."""
    for name in LIBRARIES:
        importlib.import_module(name)


class Trial:
    def __init__(self, folder: Path, tests: list[str]) -> None:
        self._folder, self._tests = folder, tests
        self._limit_s = 120.0
        self._turn = 0

    def unchanged(self) -> bool:
        """Whether the tests pass as the file stands; sets how long a change may take."""
        begun = time.monotonic()
        passed = bool(self._tests) and self._passes(keep_bytecode=True)
        self._limit_s = 10 + 4 * (time.monotonic() - begun)
        return passed

    def noticed(self, change: Change) -> bool:
        """Tests that run out of time count as noticing."""
        path = self._folder / change.path
        source = path.read_bytes()
        self._turn += 1
        path.write_bytes(change.apply(source))
        # Bytecode is told old by whole seconds and length: each change gets a second of its own.
        os.utime(path, (self._turn, self._turn))
        try:
            return not self._passes(keep_bytecode=False)
        finally:
            path.write_bytes(source)

    def _passes(self, *, keep_bytecode: bool) -> bool:
        child = os.fork()
        if child == 0:
            os._exit(self._run(keep_bytecode))
        ends = time.monotonic() + self._limit_s
        while time.monotonic() < ends:
            done, status = os.waitpid(child, os.WNOHANG)
            if done:
                return status == 0
            time.sleep(0.02)
        with suppress(ProcessLookupError):
            os.killpg(child, signal.SIGKILL)
        os.waitpid(child, 0)
        return False

    def _run(self, keep_bytecode: bool) -> int:
        """In the child: pytest's exit code."""
        os.setsid()
        silent = os.open(os.devnull, os.O_WRONLY)
        os.dup2(silent, 1)
        os.dup2(silent, 2)
        os.chdir(self._folder)
        sys.path[:] = [str(self._folder), *(path for path in sys.path if path not in ("", ROOT))]
        for name in [name for name in sys.modules if name.split(".")[0] == "tests"]:
            del sys.modules[name]
        sys.dont_write_bytecode = not keep_bytecode
        os.environ["KERFBOOK_DATA"] = str(self._folder / "data")
        import pytest

        try:
            return int(pytest.main([*PYTEST, *self._tests]))
        except BaseException:
            return 99
