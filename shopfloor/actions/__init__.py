"""What a screen sends: envelope, kinds, receipt."""
