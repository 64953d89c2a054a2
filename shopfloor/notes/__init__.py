"""What Today says of itself, and what one shift leaves to the next."""
