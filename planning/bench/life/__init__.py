"""`bench life`: what is said of wear parts' lives in shops of known truth."""
