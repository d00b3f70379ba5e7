"""Rows of a source that together make one reading: the depths of an insertion, rows of a stop."""
import numpy as np


def groups_of_rows(keys, repeats=None):
    """Return for each row the number of the reading it belongs to, numbered as they begin.

    Rows of one key belong together wherever they stand. Where a value that a reading has but
    once (a depth) comes again, a new reading of that key begins.

    Parameters
        keys     (n,) tuples; a row whose key is None throughout belongs to no other
        repeats  (n,) values that a reading has once, None or NaN for none; None where rows of a
                 key always belong together
    """
    groups, current, seen, count = np.empty(len(keys), int), {}, {}, 0
    for row, key in enumerate(keys):
        value = None if repeats is None else repeats[row]
        if value is not None and value != value:
            value = None
        if all(part is None for part in key):
            key = (row, None)
        if key not in current or (value is not None and value in seen[key]):
            current[key], seen[key] = count, set()
            count += 1
        if value is not None:
            seen[key].add(value)
        groups[row] = current[key]
    return groups
