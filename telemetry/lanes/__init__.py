"""One lane of a journal: its decoder, what it remembers, and what it decoded."""
