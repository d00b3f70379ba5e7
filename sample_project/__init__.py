"""The sample field: an invented field with a known truth, and the readings taken on it."""
