"""The report through the door of Processing."""
import datetime

import pytest

from tests.report.field_call_folder import boundary_wkb, crs_wkt, summary, write_summary
from tests.report.pdf_reading import page_sizes, words_of


@pytest.fixture(scope="module")
def record(qgis_processing, tmp_path_factory):
    """A record with the field of the made-up call."""
    from plugin.record.create import create_record
    path = tmp_path_factory.mktemp("record") / "call.gpkg"
    create_record(path, bytes(boundary_wkb()), crs_wkt(), units="us", field={
        "name": "Home quarter", "visit_date": datetime.date(2026, 5, 19)})
    return path


@pytest.fixture
def run(qgis_processing, record, call_folder, tmp_path):
    """Return run(feedback=None, **changes): run the algorithm as Processing does."""
    from qgis.core import QgsProcessingContext, QgsProcessingException, QgsProcessingFeedback

    from plugin.algorithms.grower_report import GrowerReport
    out = tmp_path / "out"
    out.mkdir()

    def go(feedback=None, **changes):
        parameters = {
            "SUMMARY": str(write_summary(tmp_path / "summary.json", summary())),
            "FOLDER": str(call_folder), "RECORD": str(record), "PAGE": 1,
            "PDF": str(out / "report.pdf"), **changes}
        algorithm = GrowerReport().create()
        context = QgsProcessingContext()
        fine, message = algorithm.checkParameterValues(parameters, context)
        if not fine:
            raise QgsProcessingException(message)
        return algorithm.run(parameters, context, feedback or QgsProcessingFeedback(),
                             catchExceptions=False)[0]
    go.out = out
    return go


def test_it_writes_the_pdf_and_counts_its_pages(run, record):
    before = record.read_bytes()
    found = run()
    assert set(found) >= {"PDF", "PAGES"}
    words = words_of(found["PDF"], "-layout")
    assert f"Page {found['PAGES']} of {found['PAGES']}" in words
    assert page_sizes(found["PDF"]) == {(612.0, 792.0)}  # the second choice is Letter
    assert record.read_bytes() == before
    assert [path.name for path in run.out.iterdir()] == ["report.pdf"]


@pytest.mark.parametrize(("name", "value", "message"), [
    ("SUMMARY", "gone.json", "There is no file .*Run the field call first"),
    ("FOLDER", "bare", "bare holds no layers to draw.*Choose the folder"),
    ("RECORD", "summary.json", "summary.json"),
])
def test_what_is_missing_or_of_another_kind_is_refused_beforehand(
        run, tmp_path, name, value, message):
    from qgis.core import QgsProcessingException
    (tmp_path / "bare").mkdir()
    with pytest.raises(QgsProcessingException, match=message):
        run(**{name: str(tmp_path / value)})
    assert list(run.out.iterdir()) == []


def test_a_summary_of_another_shape_is_refused_beforehand(run, tmp_path):
    from qgis.core import QgsProcessingException
    other = write_summary(tmp_path / "other.json", {**summary(), "made": None})
    with pytest.raises(QgsProcessingException, match="made is not what it should be"):
        run(SUMMARY=str(other))
    assert list(run.out.iterdir()) == []


def test_a_record_in_other_units_than_the_summary_is_refused_beforehand(run, tmp_path):
    from qgis.core import QgsProcessingException

    from plugin.record.create import create_record
    create_record(tmp_path / "metric.gpkg", bytes(boundary_wkb()), crs_wkt(), units="metric",
                  field={"name": "Home quarter"})
    with pytest.raises(QgsProcessingException, match="summary.json is in us units, metric.gpkg in "
                                                     "metric: they are not of one field call"):
        run(RECORD=str(tmp_path / "metric.gpkg"))
    assert list(run.out.iterdir()) == []


def test_a_cancelled_run_leaves_no_file(run):
    from qgis.core import QgsProcessingFeedback
    feedback = QgsProcessingFeedback()
    feedback.progressChanged.connect(lambda done: feedback.cancel() if done >= 5 else None)
    assert "PDF" not in run(feedback)
    assert list(run.out.iterdir()) == []


def test_a_surface_that_is_no_raster_stops_the_run_and_is_named(run, tmp_path):
    from qgis.core import QgsProcessingException
    (tmp_path / "broken" / "surfaces").mkdir(parents=True)
    (tmp_path / "broken" / "surfaces" / "stand.tif").write_text("no raster", encoding="utf-8")
    with pytest.raises(QgsProcessingException, match="stand.tif is not a raster"):
        run(FOLDER=str(tmp_path / "broken"))
    assert list(run.out.iterdir()) == []


def test_it_asks_for_the_main_thread_and_every_parameter_has_help(qgis_processing):
    from qgis.core import QgsProcessingAlgorithm

    from plugin.algorithms.grower_report import GrowerReport
    algorithm = GrowerReport().create()
    assert algorithm.flags() & QgsProcessingAlgorithm.Flag.FlagNoThreading
    assert [one.name() for one in algorithm.parameterDefinitions()] == [
        "SUMMARY", "FOLDER", "RECORD", "PAGE", "PDF"]
    assert all(one.help() for one in algorithm.parameterDefinitions())
