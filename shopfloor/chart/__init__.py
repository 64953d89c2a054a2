"""The cut chart: materials, sets, rows, trials."""
