"""How long wear parts last: Weibull lives from pieces that ended and pieces that did not yet, what
is left of one, what its pit adds, and when a change pays. Ages are starts, but any unit will do."""
