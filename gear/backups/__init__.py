"""Backup, restore, upgrade and the move between databases: whole copies of the record, and how each is proven."""
