"""What replanting gains per area at a given stand, and the stand at which it gains nothing."""
import numpy as np

from ..problems import InputProblem
from .piecewise_line import PiecewiseLine
from .yield_response import percent, percent_within


def gain_per_area(table, settings, stands):
    """Return the money per area that replanting brings over keeping, for each present stand.

        kept = expected yield (k(planting date, stand) - unevenness points) / 100, 0 or more
        replanted = expected yield k(replant date, target stand) / 100 (1 - replant loss)
        gain = (replanted - kept) price - replanting cost - extra drying + insurance payment
        extra drying = cost per point (replanted points over base - kept points over base)

    Stands outside the table follow `percent_within`: above its last as its last, below its first
    straight down to no yield at no plants.

    Parameters
        table     YieldTable, its stands per the settings' area unit
        settings  ReplantSettings
        stands    float or array, plants per area, 0 or more
    Returns  money per area, of the shape of `stands`; below 0 where keeping is better
    Raises   InputProblem: the table is of another crop or unit, a date or the target stand is
             outside the table, or a stand is missing or negative
    Source   bookkeeping; the order of the steps follows the replant worksheet of Purdue University
             Extension, AY-264-W, from memory
    """
    require_fitting(table, settings)
    return gain_over_kept(table, settings, kept_percent(table, settings, stands))


def gain_over_kept(table, settings, kept):
    """Return the money per area that replanting brings over a stand of so many percent of yield.

    The gain is straight in that percent, so that of a mean percent is the mean gain.

    Parameters
        kept   percent of full yield of the stand if kept; float or array
    """
    kept = settings.expected_yield * np.asarray(kept) / 100
    replanted = settings.expected_yield * replanted_percent(table, settings) / 100
    drying = settings.drying_cost * (
        replanted * max(0.0, settings.moisture_replanted - settings.base_moisture)
        - kept * max(0.0, settings.moisture_kept - settings.base_moisture))
    return ((replanted - kept) * settings.crop_price - settings.fixed_cost_per_area - drying
            + settings.insurance_payment)


def kept_percent(table, settings, stands):
    """Return the percent of full yield of present stands, less the points for unevenness."""
    found, _ = percent_within(table, settings.planting_date, stands)
    return np.maximum(found - settings.unevenness_loss, 0.0)


def replanted_percent(table, settings):
    """Return the percent of full yield of the replanted crop, less the replant loss."""
    full = float(percent(table, settings.replant_date, settings.target_stand))
    return full * (1 - settings.replant_loss / 100)


def gain_line(table, settings):
    """Return the gain as a PiecewiseLine of the stand, exact at every stand.

    It bends at the table's stands and, where unevenness takes more than there is, at the stand
    where the kept yield begins.
    """
    knots = _bends(table, settings)
    return PiecewiseLine(knots, gain_per_area(table, settings, knots))


def kept_line(table, settings):
    """Return the kept percent of full yield as a PiecewiseLine of the stand."""
    knots = _bends(table, settings)
    return PiecewiseLine(knots, kept_percent(table, settings, knots))


def break_even_stand(table, settings):
    """Return the stand below which replanting gains, or None where no stand decides it.

    None means that replanting gains at every stand, or at none: `gain_per_area` at any stand
    tells which. Where an overcrowded stand would gain as well, the lower stand is returned.
    The answer is exact: the gain is straight between the stands of the table.

    Returns  plants per area, or None
    Raises   InputProblem as `gain_per_area`
    """
    line = gain_line(table, settings)
    crossings = line.crossings()
    return float(crossings[0]) if line.values[0] > 0 and len(crossings) else None


def require_fitting(table, settings):
    """Refuse a yield table of another crop, or in another unit, than the settings."""
    if settings.crop and settings.crop != table.crop:
        raise InputProblem(f"The field grows {settings.crop}, but the table \"{table.title}\" "
                           f"is for {table.crop}. Choose a table of the field's crop.")
    if table.stand_unit != f"plants/{settings.area_unit}":
        raise InputProblem(f"The yield table counts {table.stand_unit}, the settings "
                           f"plants/{settings.area_unit}.")


def _bends(table, settings):
    stands = np.append(0.0, table.stands)
    left, _ = percent_within(table, settings.planting_date, stands)
    left = left - settings.unevenness_loss
    begins = PiecewiseLine(stands, left).crossings()
    return np.unique(np.concatenate([stands, begins]))
