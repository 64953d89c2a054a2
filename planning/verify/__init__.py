"""Proof that the books agree with the runs, the pieces and the closed months. Reads only."""

from __future__ import annotations
