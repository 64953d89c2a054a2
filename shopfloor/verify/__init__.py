"""Proof that the shop's own records agree with each other. Reads only."""

from __future__ import annotations
