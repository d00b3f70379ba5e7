"""What plans ask of a surface, and sums over their zones."""
import numpy as np

from ..problems import InputProblem


def zone_means(labels, inside, values, count):
    """Return the mean of values in each of `count` zones, each cell weighing by its share inside.

    Parameters
        labels, inside, values  (rows, columns); every label from 0 to count - 1 has a cell
    Returns  (count,)
    """
    field = inside > 0
    weight = np.bincount(labels[field], inside[field], minlength=count)
    return np.bincount(labels[field], (inside * values)[field], minlength=count) / weight


def require_surface(surface, unit):
    """Refuse a surface in another unit, or with a cell inside the field that has no figure."""
    if surface.unit != unit:
        raise InputProblem(f"{surface.name} is in {surface.unit}; this plan needs {unit}.")
    field = surface.inside > 0
    usable = np.isfinite(surface.estimate[field]) & (surface.standard_error[field] >= 0)
    if not field.any() or not usable.all():
        raise InputProblem(f"{surface.name}: {np.count_nonzero(~usable)} of "
                           f"{np.count_nonzero(field)} cells inside the field have no estimate "
                           "or no standard error.")
