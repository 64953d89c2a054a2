"""Jobs, their lines, and lists of them."""
