"""Rows that were entered twice."""
from .flag import Flag
from .reading_set import place_of, rows_of


def check_duplicates(layer, fids, positions_m, contents):
    """Return a flag for each row that says the same, at the same place, as an earlier one.

    Equal plants at two stops are no duplicates: place and every entry must be the same. A row that
    says nothing, or has no place, is none either.

    Parameters
        layer        what messages call the layer
        fids         (n,) row numbers
        positions_m  (n, 2) metres, NaN where a row has no place
        contents     n tuples of what was entered; None for a row that says nothing
    """
    first, flags = {}, []
    for fid, position, content in zip(fids, positions_m, contents):
        place = place_of(position)
        if place is None or content is None:
            continue
        earlier = first.setdefault((place, content), fid)
        if earlier != fid:
            flags.append(Flag(
                "duplicate", layer, int(fid), f"It is the same as {rows_of([earlier])}.",
                "The same place and the same entries: entered or imported twice, it would count "
                "twice.", "Delete one of the two, or correct the one that is wrong.", place))
    return flags


def check_sample_numbers(layer, fids, positions_m, samples):
    """Return a flag for each row with the sample number of an earlier row from elsewhere.

    Rows of one sample may differ in what was analysed, but not in place or depth; an empty depth
    is one of its own.

    Parameters
        layer        what messages call the layer
        fids         (n,) row numbers
        positions_m  (n, 2) metres
        samples      n tuples (sample number or None, top, bottom)
    """
    first, flags = {}, []
    for fid, position, (number, *depths) in zip(fids, positions_m, samples):
        if number is None or not str(number).strip():
            continue
        place = place_of(position)
        told = (place, *depths)
        earlier_fid, earlier = first.setdefault(str(number).strip(), (fid, told))
        if told != earlier:
            flags.append(Flag(
                "duplicate", layer, int(fid),
                f"Sample number {number} is that of {rows_of([earlier_fid])} too.",
                "One sample comes from one place and one depth; results joined by its number "
                "would go to both.", "Correct the number on one of the two.", place))
    return flags
