"""QGIS without a window, for as long as the sample needs it."""
import os
import tempfile
from contextlib import contextmanager


@contextmanager
def headless_qgis():
    """Start QGIS with an empty profile and end it after the block; use one that runs already."""
    from qgis.core import QgsApplication, QgsSettings
    if QgsApplication.instance() is not None:
        yield
        return
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    with tempfile.TemporaryDirectory() as profile:
        os.environ["QGIS_CUSTOM_CONFIG_PATH"] = profile
        os.environ.setdefault("XDG_RUNTIME_DIR", profile)
        application = QgsApplication([], False)
        application.initQgis()
        QgsSettings().setValue("qgis/walForSqlite3", False)  # looking at a record changes no byte
        # What it writes names no account.
        QgsSettings().setValue("projects/anonymize_saved_projects", True, QgsSettings.Section.Core)
        try:
            yield
        finally:
            application.exitQgis()
