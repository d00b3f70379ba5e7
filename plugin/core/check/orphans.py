"""Parts of readings that are not there."""
from .flag import Flag


def check_orphans(layer, fids, parents, parent_layer, known):
    """Return a flag for each row of a child layer whose parent is missing.

    Parameters
        layer         the child layer
        fids          (n,) row numbers
        parents       (n,) reading_id of the parent, None where empty
        parent_layer  where it should be
        known         reading_ids that are there
    """
    known = set(known)
    return [Flag("orphan", layer, int(fid), f"Its reading in {parent_layer} is not there.",
                 "It belongs to no reading, so it counts for nothing.",
                 f"Add the reading to {parent_layer}, tie the row to the right one, or delete it.")
            for fid, parent in zip(fids, parents) if parent not in known]
