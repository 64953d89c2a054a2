"""What wants a hand: what the sweep finds, and what a reader reads of it."""
