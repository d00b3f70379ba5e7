"""The parameters with which a user says what shape of zones the machine can run."""
from qgis.core import QgsProcessingParameterNumber

from ..core.units import convert
from ..core.zone.workable import WorkableShape
from .base import tr

MACHINE_WIDTH, HEADING, SMALLEST_AREA = "MACHINE_WIDTH", "HEADING", "SMALLEST_AREA"
SMALLEST_WIDTH, SMALLEST_LENGTH = "SMALLEST_WIDTH", "SMALLEST_LENGTH"
HEADLAND, DEVIATION = "HEADLAND", "DEVIATION"


def describe_shape(algorithm):
    """Add the parameters of the shape to an algorithm."""
    def number(name, label, help_text, **limits):
        algorithm.described(QgsProcessingParameterNumber(
            name, label, QgsProcessingParameterNumber.Type.Double, **limits), help_text)

    number(MACHINE_WIDTH, tr("Machine width"),
           tr("Metres; edges are smoothed over it. 0 smooths nothing."),
           defaultValue=0.0, minValue=0.0)
    number(HEADING, tr("Heading of the rows"),
           tr("Degrees clockwise from north. Edges are smoothed, and narrow parts found, along and "
              "across the rows. Empty: alike in all directions."),
           optional=True, minValue=0.0, maxValue=180.0)
    number(SMALLEST_AREA, tr("Smallest zone"), tr("Hectares; smaller patches join a neighbour."),
           defaultValue=0.0, minValue=0.0)
    number(SMALLEST_WIDTH, tr("Smallest width"),
           tr("Metres across the rows, to the cell; what is narrower goes to its neighbours."),
           defaultValue=0.0, minValue=0.0)
    number(SMALLEST_LENGTH, tr("Smallest length"),
           tr("Metres along the rows, to the cell, such as the way the machine goes while its rate "
              "changes. It counts as at least the smallest width."),
           defaultValue=0.0, minValue=0.0)
    number(HEADLAND, tr("Headland"),
           tr("Metres; a zone of this width along the boundary, of its own. 0 makes none."),
           defaultValue=0.0, minValue=0.0)
    number(DEVIATION, tr("Largest deviation"),
           tr("Metres; borders between zones are straightened, and no point of them moves further "
              "than this. Neighbours keep the same line. 0 follows the sides of the cells."),
           defaultValue=0.0, minValue=0.0)


def shape_of(algorithm, parameters, context, *, ordered=False):
    """Return the WorkableShape that the parameters ask for."""
    def number(name):
        return algorithm.parameterAsDouble(parameters, name, context)

    heading = parameters.get(HEADING)
    return WorkableShape(
        machine_width_m=number(MACHINE_WIDTH),
        heading_deg=None if heading in (None, "") else number(HEADING),
        smallest_area_m2=float(convert(number(SMALLEST_AREA), "ha", "m2")),
        smallest_width_m=number(SMALLEST_WIDTH), smallest_length_m=number(SMALLEST_LENGTH),
        headland_m=number(HEADLAND), ordered=ordered)
