"""How long the work ahead will take: one probability model of a table's time, fitted to what the
shop's own runs took, that answers for the end of a shift, a quote and a promised day."""
