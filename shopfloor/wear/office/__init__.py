"""Pages of the desk about wear parts."""
