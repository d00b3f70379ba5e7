"""Progress of a part of some work as progress of the whole."""


def part_of_tick(tick, before, share):
    """Return the tick of a part that begins at `before` and takes `share` of the whole, or None.

    Parameters
        tick           of the whole, called with the fraction done; None: none
        before, share  fractions of the whole
    """
    return None if tick is None else lambda part: tick(before + share * part)
