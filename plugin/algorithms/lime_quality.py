"""The quality of the lime that is bought, by whichever figures its analysis gives."""
from qgis.core import QgsProcessingParameterNumber

from ..core.decide.lime_quality import effective_by_fineness, effective_by_pounds
from ..core.problems import InputProblem
from .base import tr

QUALITY, POUNDS = "QUALITY", "EFFECTIVE_POUNDS"
SIEVES = ("PASSING_20", "PASSING_60", "PASSING_100")
CARBONATE = "CARBONATE_EQUIVALENT"


def declare_lime_quality(algorithm):
    """Add the parameters that tell a lime's quality, all of them optional."""
    _number(algorithm, QUALITY, tr("Lime quality"), 200,
            tr("Effective percent of the lime's mass. Without any figure here: the record's."))
    for name, mesh in zip(SIEVES, (20, 60, 100)):
        _number(algorithm, name, tr("Through {mesh} mesh").format(mesh=mesh), 100,
                tr("Percent by mass that passes the sieve of {mesh} mesh; give all three sieves "
                   "and the equivalent.").format(mesh=mesh))
    _number(algorithm, CARBONATE, tr("Calcium carbonate equivalent"), 200,
            tr("Neutralizing value of the lime, percent of pure calcium carbonate."))
    _number(algorithm, POUNDS, tr("Effective pounds in a ton"), 4000,
            tr("Where the lime is sold by it: effective lb in a short ton of 2,000 lb."))


def chosen_lime_quality(algorithm, parameters, context):
    """Return the effective percent by the figures given, or None where none is given.

    Raises   InputProblem: figures of several kinds are given, sieves without equivalent or the
             like, or figures that cannot be
    """
    given = {name: algorithm.parameterAsDouble(parameters, name, context)
             for name in (QUALITY, *SIEVES, CARBONATE, POUNDS)
             if parameters.get(name) is not None}
    by_sieves = {*SIEVES, CARBONATE}
    if not given:
        return None
    if set(given) == {QUALITY}:
        return given[QUALITY]
    if set(given) == {POUNDS}:
        return effective_by_pounds(given[POUNDS])
    if set(given) == by_sieves:
        return effective_by_fineness(
            passing_20=given[SIEVES[0]], passing_60=given[SIEVES[1]],
            passing_100=given[SIEVES[2]], carbonate_equivalent=given[CARBONATE])
    raise InputProblem(tr(
        "The lime's quality is given by {given}. Give one of these and nothing else: {quality}; "
        "{pounds}; or {sieves} together.").format(
            given=", ".join(given), quality=QUALITY, pounds=POUNDS,
            sieves=", ".join((*SIEVES, CARBONATE))))


def _number(algorithm, name, title, most, help_text):
    algorithm.described(QgsProcessingParameterNumber(
        name, title, QgsProcessingParameterNumber.Type.Double, None, optional=True,
        minValue=0.0, maxValue=most), help_text)
