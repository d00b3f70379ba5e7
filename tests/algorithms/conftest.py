"""What tests of algorithms share: layers, a door to Processing, a look at what is left."""
import pytest

from tests.algorithms.small_calls import FIELD_WKT, sha256, whole_call


@pytest.fixture
def out(tmp_path):
    """An empty folder for outputs."""
    folder = tmp_path / "out"
    folder.mkdir()
    return folder


@pytest.fixture
def run(provider):
    """Return run(algorithm, feedback=None, **parameters): the results, as a user would get them.

    The last run's warnings are in run.warnings.
    """
    from qgis import processing
    from qgis.core import QgsProcessingFeedback

    class Listening(QgsProcessingFeedback):
        def pushWarning(self, warning):
            go.warnings.append(warning)

    def go(algorithm, feedback=None, **parameters):
        go.warnings = []
        return processing.run(f"spadework:{algorithm}",
                              {name: str(value) if hasattr(value, "parts") else value
                               for name, value in parameters.items()},
                              feedback=feedback or Listening())
    go.warnings = []
    return go


@pytest.fixture
def refused(run):
    """Return refused(words, algorithm, **parameters): the run must be refused in these words.

    A traceback would be a defect, not a refusal.
    """
    from qgis.core import QgsProcessingException

    def go(words, algorithm, **parameters):
        with pytest.raises(QgsProcessingException, match=words) as caught:
            run(algorithm, **parameters)
        assert "Traceback" not in str(caught.value)
    return go


@pytest.fixture
def cancelling():
    """Return cancelling(percent): a feedback that cancels once progress is above percent."""
    from qgis.core import QgsProcessingFeedback
    kept = []

    def made(percent):
        feedback = QgsProcessingFeedback()
        feedback.progressChanged.connect(
            lambda progress: feedback.cancel() if progress > percent else None)
        kept.append(feedback)
        return feedback
    return made


@pytest.fixture(scope="session")
def calls(qgis_app, tmp_path_factory):
    """Return calls(units): a whole small record, made once; no test may change it."""
    made, folder = {}, tmp_path_factory.mktemp("calls")

    def path_of(units="us"):
        if units not in made:
            made[units] = whole_call(folder / f"{units}.gpkg", units)
            # An output or a side file among the records would be found here.
        assert {path.suffix for path in folder.iterdir()} == {".gpkg"}
        return made[units]
    return path_of


@pytest.fixture
def layer():
    """Return layer(kind, rows, crs, fields): a memory layer called readings."""
    from qgis.core import QgsCoordinateReferenceSystem, QgsFeature, QgsGeometry, QgsVectorLayer

    def made(kind, rows, crs="EPSG:32615", fields=""):
        found = QgsVectorLayer(f"{kind}?crs={crs}{fields}", "readings", "memory")
        if not crs:
            found.setCrs(QgsCoordinateReferenceSystem())
        features = []
        for wkt, *attributes in rows:
            feature = QgsFeature(found.fields())
            if wkt:
                feature.setGeometry(QgsGeometry.fromWkt(wkt))
            feature.setAttributes(attributes)
            features.append(feature)
        assert found.dataProvider().addFeatures(features)[0]
        return found
    return made


@pytest.fixture
def field(layer):
    """The field of the small calls as a layer."""
    return layer("Polygon", [(FIELD_WKT,)])


@pytest.fixture(autouse=True)
def records_unchanged(request):
    """After each test the shared records are byte for byte what they were."""
    if "calls" not in request.fixturenames:
        yield
        return
    calls = request.getfixturevalue("calls")
    before = {units: sha256(calls(units)) for units in ("us", "metric")}
    yield
    assert {units: sha256(calls(units)) for units in ("us", "metric")} == before
