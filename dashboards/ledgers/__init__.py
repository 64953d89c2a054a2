"""Frames put in order for a page: which rows are named, which are summed, what each step is. Pure:
no queries, no Dash, no Django."""
