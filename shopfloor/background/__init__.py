"""Work that does not wait for a page: asked for, run, shown."""
