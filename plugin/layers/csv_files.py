"""Tables as CSV files, whole or not at all."""
import csv

from .beside import beside


def write_csv(path, rows):
    """Write rows, dicts of the same keys, to a CSV file with a line of column names."""
    with beside(path) as unfinished, open(unfinished, "w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
