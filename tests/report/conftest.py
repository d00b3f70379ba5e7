"""The made-up field call that the tests of the report print."""
import pytest

from tests.report import field_call_folder


@pytest.fixture(scope="session")
def call_folder(tmp_path_factory):
    """The folder of the made-up field call, which no test may write to."""
    return field_call_folder.write_folder(tmp_path_factory.mktemp("call") / "home quarter")


@pytest.fixture
def printed(qgis_app, call_folder, tmp_path):
    """Return printed(summary, **changes): write the report, return its path."""
    from plugin.report.grower_pdf import write_report

    def write(summary, **changes):
        path = tmp_path / "report.pdf"
        write_report(path, summary, **{
            "folder": call_folder, "boundary_wkb": field_call_folder.boundary_wkb(),
            "crs_wkt": field_call_folder.crs_wkt(), **changes})
        return path
    return write


@pytest.fixture(scope="session")
def whole_report(qgis_app, call_folder, tmp_path_factory):
    """The report of the summary in which every section is there, A4."""
    from plugin.report.grower_pdf import write_report
    path = tmp_path_factory.mktemp("whole") / "report.pdf"
    write_report(path, field_call_folder.summary(), folder=call_folder,
                 boundary_wkb=field_call_folder.boundary_wkb(),
                 crs_wkt=field_call_folder.crs_wkt())
    return path
