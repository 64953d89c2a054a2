"""Sources of a table's signals."""
