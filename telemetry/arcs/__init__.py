"""Events paired to arcs: `pairing` one by one, `pairing_columns` by arrays. Pure."""
