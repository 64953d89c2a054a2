"""Proof that what intake stored is what its journal holds. Reads only."""

from __future__ import annotations

from telemetry.verify.feed import check_feed
from telemetry.verify.findings import Finding

__all__ = ["Finding", "check_feed"]
