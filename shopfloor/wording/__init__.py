"""Words, counts and cautions, made in one place. Reads nothing."""
