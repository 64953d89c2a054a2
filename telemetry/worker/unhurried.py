"""Python's own pauses kept out of live intake."""

from __future__ import annotations

import contextlib
import gc
import sys
from collections.abc import Iterator

_SWITCH_S = 0.0005
# A commit of a hundred sources makes some thousand tuples that go again at once. By Python's own
# numbers it would look through them for cycles several times a commit, a tenth of its work.
_YOUNG, _MIDDLE, _OLD = 20_000, 20, 50


@contextlib.contextmanager
def unhurried() -> Iterator[None]:
    """The collector looks less often, and passes over what is there already: to look through a
    whole program for cycles takes longer than a commit. And a thread that waits for its turn gets
    it sooner."""
    interval_s, threshold = sys.getswitchinterval(), gc.get_threshold()
    sys.setswitchinterval(_SWITCH_S)
    gc.set_threshold(_YOUNG, _MIDDLE, _OLD)
    pass_over_what_is_there()
    try:
        yield
    finally:
        gc.unfreeze()
        gc.set_threshold(*threshold)
        sys.setswitchinterval(interval_s)


def pass_over_what_is_there() -> None:
    """Once more for what was made since, such as a source's decoder."""
    gc.collect()
    gc.freeze()
