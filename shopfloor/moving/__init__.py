"""Moving a shop from SQLite to PostgreSQL."""

from __future__ import annotations
