"""People, their rights, signing in, the screens they use."""
