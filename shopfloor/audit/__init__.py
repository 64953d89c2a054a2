"""The audit trail: triggers in the database itself write a `Change` for every insert, update and
delete, so that `save()`, `bulk_create()`, `update()` and raw SQL leave the same trace.

Who and why come from `shopfloor.audit.actor`: on SQLite through a function registered on each
connection, on PostgreSQL through a setting sent before each writing statement. An update keeps
only the columns that changed. Secrets are never copied, only that they changed. Programs (bytes)
are left to their hashes. Migrations run without triggers, because SQLite cannot alter a table
that a trigger names; afterwards triggers are made again from the columns as they then are.
"""
