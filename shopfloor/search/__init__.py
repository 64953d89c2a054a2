"""The one search box."""
