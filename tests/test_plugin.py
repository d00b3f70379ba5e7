"""The plugin comes and goes without leaving anything, with and without a desktop."""
import configparser
import importlib
import sys
from pathlib import Path

import pytest
from qgis.core import (
    Qgis,
    QgsApplication,
    QgsProcessingContext,
    QgsProcessingException,
    QgsProcessingFeedback,
)
from qgis.PyQt.QtCore import QCoreApplication, QEvent
from qgis.PyQt.QtWidgets import QAction, QDockWidget

from plugin.algorithms.provider import ICON, IDS
from plugin.spadework import Spadework

ROOT = Path(__file__).resolve().parents[1]


def registered():
    return QgsApplication.processingRegistry().providerById("spadework")


def left_in(desktop):
    """Return the docks and the plugin's actions in the window, after what is to go has gone."""
    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)
    window = desktop.mainWindow()
    return ([dock.objectName() for dock in window.findChildren(QDockWidget)]
            + [action.objectName() for action in window.findChildren(QAction)
               if action.objectName().startswith("spadework")])


@pytest.fixture
def load(qgis_processing):
    """Return load(iface), which loads a plugin; whatever is still loaded goes at the end."""
    loaded = []

    def load(iface, kind=Spadework):
        plugin = kind(iface)
        loaded.append(plugin)
        plugin.initProcessing() if iface is None else plugin.initGui()
        return plugin
    yield load
    for plugin in loaded:
        plugin.unload()


def test_loaded_unloaded_and_loaded_again_it_leaves_nothing_over(desktop, load):
    assert (registered(), left_in(desktop)) == (None, [])
    plugin = load(desktop)
    for _ in range(2):
        assert registered() is not None
        assert left_in(desktop) == ["spadework_dock", "spadework_action"]
        assert [action.objectName() for action in desktop.tools.actions()] == ["spadework_action"]
        plugin.unload()
        assert (registered(), left_in(desktop), desktop.tools.actions()) == (None, [], [])
        plugin.initGui()


def test_a_new_plugin_object_loads_after_the_old_one_went(desktop, load):
    for _ in range(2):
        plugin = load(desktop)
        assert registered() is not None
        assert left_in(desktop) == ["spadework_dock", "spadework_action"]
        plugin.unload()
    assert registered() is None


def test_without_a_desktop_only_the_provider_comes_and_goes(load):
    for _ in range(2):
        plugin = load(None)
        assert registered() is not None
        plugin.unload()
        assert registered() is None


def test_initgui_without_a_desktop_adds_the_provider_and_no_more(load):
    plugin = load(None)
    plugin.initGui()
    assert registered() is not None
    assert (plugin.action, plugin.dock) == (None, None)


def test_unloading_what_was_never_loaded_does_no_harm(desktop):
    Spadework(desktop).unload()
    assert (registered(), left_in(desktop)) == (None, [])


def test_the_action_shows_and_hides_the_dock(desktop, load):
    plugin = load(desktop)
    desktop.mainWindow().show()
    plugin.dock.show()
    assert plugin.action.isChecked()
    plugin.action.trigger()
    assert not plugin.dock.isVisible()
    plugin.action.trigger()
    assert plugin.dock.isVisible()


def test_the_provider_has_every_algorithm_of_the_public_list(load):
    provider = load(None).provider
    assert sorted(algorithm.name() for algorithm in provider.algorithms()) == sorted(IDS)
    assert provider.id() == "spadework"
    assert provider.warningMessage() == ""


@pytest.mark.parametrize("one", IDS)
def test_an_algorithm_can_be_made_and_has_name_group_and_help(load, one):
    load(None)
    algorithm = QgsApplication.processingRegistry().createAlgorithmById(f"spadework:{one}")
    able, _ = algorithm.canExecute()
    assert able
    assert algorithm.displayName() and algorithm.group() and algorithm.shortHelpString()
    for parameter in algorithm.parameterDefinitions():
        assert parameter.name() == parameter.name().upper()
        assert parameter.help(), parameter.name()


def test_the_icon_is_a_picture(load):
    provider = load(None).provider
    assert Path(provider.svgIconPath()) == ICON
    picture = provider.icon().pixmap(48, 48).toImage()
    # the middle of the blade is steel grey, lighter than any soil
    assert picture.pixelColor(19, 28).lightness() > 180


def test_without_scipy_everything_says_so_and_nothing_breaks(desktop, load, monkeypatch):
    monkeypatch.setitem(sys.modules, "scipy", None)  # as if it were not installed
    plugin = load(desktop)
    provider = plugin.provider
    assert "scipy" in provider.warningMessage()
    assert sorted(one.name() for one in provider.algorithms()) == sorted(IDS)
    messages = [(item.level(), item.text()) for item in desktop.messageBar().items()]
    assert messages == [(Qgis.MessageLevel.Warning, provider.warningMessage())]
    for algorithm in provider.algorithms():
        copy = algorithm.create()
        assert copy.name() == algorithm.name()
        assert copy.canExecute() == (False, provider.warningMessage())
        context, feedback = QgsProcessingContext(), QgsProcessingFeedback()
        assert copy.checkParameterValues({}, context) == (False, provider.warningMessage())
        with pytest.raises(QgsProcessingException, match="scipy"):
            copy.processAlgorithm({}, context, feedback)
    assert not plugin.dock.new_button.isEnabled()
    assert not plugin.dock.run_button.isEnabled()


def test_the_folder_is_a_plugin_by_whatever_name_it_is_installed(
        tmp_path, monkeypatch, desktop, load):
    (tmp_path / "some_name").symlink_to(ROOT)
    monkeypatch.syspath_prepend(str(tmp_path))
    try:
        plugin = load(desktop, importlib.import_module("some_name").classFactory)
        assert type(plugin).__module__ == "some_name.plugin.spadework"
        assert registered() is not None
        assert left_in(desktop) == ["spadework_dock", "spadework_action"]
    finally:
        for name in [name for name in sys.modules if name.split(".")[0] == "some_name"]:
            del sys.modules[name]


def test_the_metadata_tell_qgis_what_it_needs_to_know():
    metadata = configparser.ConfigParser(interpolation=None)
    metadata.read(ROOT / "metadata.txt", encoding="utf-8")
    general = metadata["general"]
    assert general["name"] == "Spadework"
    assert general["hasProcessingProvider"] == "yes"
    assert general["qgisMinimumVersion"] == "3.22"
    assert (ROOT / general["icon"]).is_file()
