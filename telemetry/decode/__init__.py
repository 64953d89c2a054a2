"""From bytes to events: `general` reads any line, `columnar` plain columns as arrays. Pure."""
