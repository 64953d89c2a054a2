"""The Django project: the shop's records, its office pages and its floor terminal."""
