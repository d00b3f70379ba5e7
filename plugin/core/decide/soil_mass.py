"""What a soil test's content is in mass on an area."""
import numpy as np

from ..units import convert

# Of a loam; 12 in of it weigh 3.6 million lb/ac, the factor in use in most states (general
# practice). Illinois takes 4 million (its university, second-hand), which is 1.47.
USUAL_BULK_DENSITY = 1.33  # g/cm3


def mass_per_area(content_ppm, *, depth_m, unit, bulk_density=USUAL_BULK_DENSITY):
    """Return the mass on an area of what a layer of soil holds by parts per million.

    Parameters
        content_ppm   array of any shape, by mass of dry soil
        depth_m       thickness of the layer, metres
        unit          of the result, such as lb/ac or kg/ha
        bulk_density  g/cm3, dry
    Source   by definition: ppm x depth x density
    """
    kg_per_m2 = np.asarray(content_ppm, float) * 1e-6 * depth_m * bulk_density * 1000
    return convert(kg_per_m2, "kg/m2", unit)
