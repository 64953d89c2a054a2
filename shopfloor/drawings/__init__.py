"""Drawings of parts, and what cutting them would take."""
