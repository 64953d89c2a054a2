"""Backups: one file that holds the database, the journal and the uploaded files.

The file is a ZIP. `tables/NAME.copy` holds a table's rows as PostgreSQL's COPY writes text, on
SQLite too, so that either database can take the rows of the other. `journal/...`, `uploads/...`,
`files/...` and `secret.key` are files of the data folder. `manifest.json`, the last member, holds
counts and SHA-256 of all of them; the ZIP's comment holds the SHA-256 of the whole file.
"""
