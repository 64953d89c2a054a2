"""Drawings made on the server, from plain records. Reads nothing."""
