"""Names for readings made from what they hold, so that the same reading is known again."""
from collections import Counter
from hashlib import blake2b

import numpy as np

ID_BYTES = 16
BLOCK = 10_000  # readings between two ticks


def content_ids(layer, columns, *, parts=None, tick=None):
    """Return a name for each reading, the same whenever its content is.

    Readings of the same content in one source are told apart by their order: the second one of
    a kind is always the second. Positions should come rounded, other numbers as they are stored.

    Parameters
        layer    name of the layer, which is part of the content
        columns  dict of column to (n,) array, in any order: float, datetime64, or object
        parts    list of n bytes, what belongs to a reading beside its own columns; None for none
        tick     called with the fraction done; may raise Stopped
    Returns  list of n texts of 32 hexadecimal digits
    """
    names = sorted(columns)
    numeric = [name for name in names if columns[name].dtype != object]
    texts = [columns[name] for name in names if columns[name].dtype == object]
    count = len(columns[names[0]])
    seen, ids, start = Counter(), [], repr((layer, names)).encode()
    for first in range(0, count, BLOCK):
        block = range(first, min(first + BLOCK, count))
        for row, numbers in zip(block, _bits([columns[name][first:block.stop]
                                              for name in numeric], len(block))):
            content = start + numbers
            if texts:
                content += repr([text[row] for text in texts]).encode("utf-8", "surrogatepass")
            if parts is not None:
                content += parts[row]
            digest = blake2b(content, digest_size=ID_BYTES).digest()
            seen[digest] += 1
            if seen[digest] > 1:
                digest = blake2b(digest + str(seen[digest]).encode(), digest_size=ID_BYTES).digest()
            ids.append(digest.hex())
        if tick is not None:
            tick(block.stop / count)
    return ids


def _bits(columns, count):
    """What the columns of numbers hold in each row, as bytes."""
    if not columns:
        return [b""] * count
    return [row.tobytes() for row in np.column_stack([_as_integers(one) for one in columns])]


def _as_integers(values):
    """Values as 64-bit integers with the same bits; every NaN alike, and -0 as 0."""
    if values.dtype.kind == "M":
        return values.astype("datetime64[ms]").astype(np.int64)
    numbers = np.where(np.isnan(values), np.nan, values.astype(float) + 0.0)
    return numbers.view(np.int64)
