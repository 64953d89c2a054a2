"""The shop itself: tables, torches, shifts, calendar."""
