"""Reading lists that people bring: bytes in, rows with their line numbers and faults out. No
database here, so a preview and the import that follows it read the same bytes the same way."""
