"""First pieces and checks."""
