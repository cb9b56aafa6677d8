"""Tests of the store. ``SWARFLINE_TEST_POSTGRESQL`` runs those that are not about SQLite files on PostgreSQL."""
