"""The invented shop, Brindle Weir Fabricating: nothing in it is a real company, person, price or
chart. Its figures are computed here from a fixed seed and are example values, not for cutting."""

LOADED = "the invented shop"  # why its records were written: not when its past came to be
