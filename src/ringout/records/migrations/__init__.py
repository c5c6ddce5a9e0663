"""Migrations of the records: each file is one step, run by `migrate.up_to_date`."""
