"""The process that reads one file, started by `apart`.

What to read comes pickled on standard input; steps and the answer go pickled to standard output.
Its limits stand before anything of the file is looked at, and it can write no file.
"""

from __future__ import annotations

import os
import pickle
import resource
import signal
import sys
from importlib import import_module
from typing import Any, BinaryIO, Final

MB: Final = 1024 * 1024


def main(reader: str, tells: str, seconds: str, memory_mb: str, result_mb: str) -> None:
    """`reader` is module:function; with `tells` "1" it is handed a way to tell how far it is."""
    out = _own_output()
    _limit(float(seconds), int(memory_mb))
    try:
        args = pickle.load(sys.stdin.buffer)  # noqa: S301 -- from our own parent
        module, name = reader.split(":")
        read = getattr(import_module(module), name)
        more = {"tell": lambda *far: _say(out, "step", far)} if tells == "1" else {}
        answer = pickle.dumps(read(*args, **more), protocol=5)
    except MemoryError:
        _say(out, "over", "memory")
    except ValueError as fault:  # every reader's own errors are ValueErrors
        _say(out, "fault", fault)
    else:
        if len(answer) > int(result_mb) * MB:
            _say(out, "over", "result")
        else:
            _say(out, "done", answer)


def _own_output() -> BinaryIO:
    """Standard output for us alone: what a library prints goes nowhere."""
    own = os.fdopen(os.dup(1), "wb")
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 1)
    return own


def _limit(seconds: float, memory_mb: int) -> None:
    whole = int(seconds) or 1
    resource.setrlimit(resource.RLIMIT_CPU, (whole, whole + 1))
    resource.setrlimit(resource.RLIMIT_AS, (memory_mb * MB, memory_mb * MB))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)


def _say(out: BinaryIO, word: str, said: Any) -> None:
    pickle.dump((word, said), out, protocol=5)
    out.flush()


if __name__ == "__main__":
    main(*sys.argv[1:])
