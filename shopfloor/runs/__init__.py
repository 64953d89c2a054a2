"""What was cut: runs, their arcs, parts and stoppages."""
