"""The quote's nest and its history of runs, for the pages too."""

from __future__ import annotations

from tests.planning.test_quotes import history, nest

__all__ = ["history", "nest"]
