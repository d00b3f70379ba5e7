"""Findings: for each possible cause of a thin stand, what the record says for and against it."""
