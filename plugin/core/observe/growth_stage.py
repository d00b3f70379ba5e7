"""Growth stages: leaves counted and the BBCH scale, one turned into the other."""
from dataclasses import dataclass
from pathlib import Path

from ..decide.data_table import read_data_table

TABLES = Path(__file__).with_name("tables")
TABLE = "growth_stage"
LAST_OF_LEAVES = 19  # BBCH counts leaves from 10 to here
APART = 1  # a leaf that BBCH may run ahead of the collars; see the table's note


@dataclass(frozen=True)
class GrowthStage:
    """One stage of a crop: its name, leaves (None where none are counted), BBCH and meaning."""
    name: str
    leaves: int
    bbch: int
    meaning: str


def growth_stages(crop):
    """Return the stages of a crop in order; none where the table has no such crop."""
    return tuple(GrowthStage(name, int(leaves) if leaves else None, int(bbch), meaning)
                 for of_crop, name, leaves, bbch, meaning in read_data_table(TABLE, TABLES).rows
                 if of_crop == crop)


def stage_of_leaves(crop, leaves):
    """Return the GrowthStage of so many leaves, or None where the crop is not in the table.

    More leaves than BBCH tells apart keep their own name, such as V12, and its last code, 19.

    Parameters
        crop    such as corn
        leaves  corn: leaf collars; soybean: unfolded leaves of three leaflets
    Source   the head of tables/growth_stage.csv, whose rows are from memory
    """
    counted = [stage for stage in growth_stages(crop) if stage.leaves is not None]
    for stage in counted:
        if stage.leaves == leaves:
            return stage
    if counted and leaves > counted[-1].leaves:
        return GrowthStage(f"V{leaves}", leaves, counted[-1].bbch, counted[-1].meaning)
    return None


def stage_of_bbch(crop, bbch):
    """Return the GrowthStage of a BBCH code, or None where the table does not have just that."""
    return next((stage for stage in growth_stages(crop) if stage.bbch == bbch), None)


def stage_in_words(crop, *, bbch=None, leaves=None):
    """Return a stage as the trade says it, such as "V2 (BBCH 12)"; "" where neither is known.

    The leaves counted name the stage, the code entered stands beside it; where one is not
    entered, the table's takes its place.

    Parameters
        bbch    two digits of the BBCH scale, or None
        leaves  as `stage_of_leaves` takes them, or None
    """
    by_leaves = None if leaves is None else stage_of_leaves(crop, leaves)
    stage = by_leaves or (None if bbch is None else stage_of_bbch(crop, bbch))
    code = bbch if bbch is not None else None if stage is None else stage.bbch
    if code is None:
        return "" if leaves is None else f"leaves counted: {leaves}"
    return f"BBCH {code:02d}" if stage is None else f"{stage.name} (BBCH {code:02d})"


def stages_disagree(crop, bbch, leaves):
    """Return whether leaves and BBCH code of one stop cannot both be right, as far as is known.

    Codes after the leaf stages are not compared, for leaves go on being counted then.
    """
    if bbch is None or leaves is None or bbch > LAST_OF_LEAVES:
        return False
    stage = stage_of_leaves(crop, leaves)
    return stage is not None and abs(stage.bbch - bbch) > APART
