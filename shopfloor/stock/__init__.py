"""Heats, sheets and remnants."""
