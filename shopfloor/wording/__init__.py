"""Clock times, lengths, money, counts, states and cautions in words."""
