"""`manage.py bench board`: every page as it is served, in a shop of six weeks and of thirteen
months."""
