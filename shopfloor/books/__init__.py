"""Rates and price lists."""
