"""Wear parts: trays, pieces, fittings, air."""
