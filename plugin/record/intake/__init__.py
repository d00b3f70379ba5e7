"""Readings brought by others into a record: sources, mappings, and one transaction."""
