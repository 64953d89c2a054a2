"""Nests, their programs and parts, the queue, the papers."""
