"""Fills a record in a QGIS that knows nothing of the plugin: run by test_plain_qgis.py.

plain_qgis.py RECORD: adds a stop with two rows, a sample and a note through QGIS's own forms and
prints what it saw as JSON. Everything here is QGIS alone.
"""
import json
import sys

from qgis.core import (
    QgsApplication,
    QgsFeature,
    QgsGeometry,
    QgsPointXY,
    QgsProject,
    QgsVectorLayerTools,
    QgsVectorLayerUtils,
)
from qgis.gui import (
    QgsAttributeEditorContext,
    QgsAttributeForm,
    QgsExternalResourceWidget,
    QgsFileWidget,
    QgsGui,
    QgsMapCanvas,
)
from qgis.PyQt.QtWidgets import QDialogButtonBox, QGroupBox, QTabWidget, QWidget


class Tools(QgsVectorLayerTools):
    """What the desktop gives its forms so that tables in them can be edited; none is here."""

    def startEditing(self, layer):
        return layer.startEditing()


def opened(record):
    project = QgsProject.instance()
    if not project.read(f"geopackage:{record}?projectName=record"):
        raise SystemExit(project.error())
    return {layer.source().split("layername=")[1]: layer
            for layer in project.mapLayers().values()}


def form_of(layer, feature, mode):
    context = QgsAttributeEditorContext()
    context.setVectorLayerTools(TOOLS)
    context.setMapCanvas(CANVAS)
    form = QgsAttributeForm(layer, feature, context)
    form.setMode(mode)
    form.show()
    QgsApplication.processEvents()
    return form


def new_row(layer, x=None, **values):
    """Fill a new row through the layer's form; return whether it was saved, and the form."""
    layer.startEditing()
    place = QgsGeometry() if x is None else QgsGeometry.fromPointXY(QgsPointXY(x, 4400010))
    form = form_of(layer, QgsVectorLayerUtils.createFeature(layer, place),
                   QgsAttributeEditorContext.Mode.AddFeatureMode)
    for name, value in values.items():
        form.changeAttribute(name, value)
        QgsApplication.processEvents()
    if not form.findChild(QDialogButtonBox).button(QDialogButtonBox.StandardButton.Ok).isEnabled():
        return False, form
    return form.save(), form


def shown_boxes(form):
    """Titles of the boxes on the form's first page that are shown."""
    return sorted(box.title() for box in form.findChildren(QGroupBox) if not box.isHidden())


def tab_order(form, layer):
    """Names of the columns whose editors the tab key visits, in that order, each once."""
    names = {field.name() for field in layer.fields()}
    first, widget, order = form, form.nextInFocusChain(), []
    while widget is not None and widget != first:
        above = widget
        while above is not None and above.objectName() not in names:
            above = above.parentWidget()
        if above is not None and form.isAncestorOf(above) and above.objectName() not in order:
            order.append(above.objectName())
        widget = widget.nextInFocusChain()
    return order


def main(record):
    layers, seen = opened(record), {}
    stops = layers["stand_counts"]
    seen["plugin"] = sorted(name for name in sys.modules if name.split(".")[0] in (
        "plugin", "spadework"))
    seen["negative saved"], _ = new_row(stops, 500010, method="wheel", plants=-1, length=94.0)
    stops.rollBack()
    seen["stop saved"], form = new_row(stops, 500010, method="wheel", plants=150, length=94.0)
    seen["asked of a usual stop"] = shown_boxes(form)
    seen["tabs"] = [tabs.tabText(place) for tabs in form.findChildren(QTabWidget)[:1]
                    for place in range(tabs.count())]
    seen["order"] = tab_order(form, stops)
    seen["stop committed"] = stops.commitChanges()
    stop = next(stops.getFeatures())
    rows = layers["row_counts"]
    rows.startEditing()
    for unit, plants in ((1, 76), (2, 74)):
        row = QgsVectorLayerUtils.createFeature(rows)
        for name, value in {"of_stop": stop["reading_id"], "row_unit": unit,
                            "plants": plants}.items():
            row.setAttribute(name, value)
        rows.addFeature(QgsFeature(row))
    seen["rows committed"] = rows.commitChanges()
    relation = QgsProject.instance().relationManager().relation("row_counts_of_stand_counts")
    seen["children"] = sorted(row["plants"] for row in relation.getRelatedFeatures(stop))
    form = form_of(stops, stop, QgsAttributeEditorContext.Mode.SingleEditMode)
    seen["relation editors"] = sorted(
        widget.objectName() or widget.metaObject().className()
        for widget in form.findChildren(QWidget)
        if widget.metaObject().className() == "QgsRelationEditorWidget"
        or "_of_stand_counts" in widget.objectName())
    seen["second stop saved"], form = new_row(stops, 500100, length=3000.0)
    seen["asked of an odd stop"] = shown_boxes(form)
    seen["second stop committed"] = stops.commitChanges()
    samples, notes = layers["probe_points"], layers["scout_notes"]
    seen["sample saved"], _ = new_row(samples, 500012, core_type="nitrate",
                                      bottom_depth=12.0, nitrate_n_ppm=14.0)
    seen["second sample saved"], _ = new_row(samples, 500099, nitrate_n_ppm=18.0)
    seen["sample committed"] = samples.commitChanges()
    seen["wrong note saved"], _ = new_row(notes, 500012, plants_checked=5, plants_affected=6)
    notes.rollBack()
    seen["note saved"], form = new_row(notes, 500012, subject="insect", plants_checked=50,
                                       plants_affected=2, leaf_collars=4, photo="a.jpg")
    photo, = form.findChildren(QgsExternalResourceWidget)
    seen["photo relative to the project"] = photo.relativeStorage() == \
        QgsFileWidget.RelativeStorage.RelativeProject
    seen["note committed"] = notes.commitChanges()
    print(json.dumps(seen))


if __name__ == "__main__":
    application = QgsApplication([], True)
    application.initQgis()
    QgsGui.editorWidgetRegistry().initEditors()
    CANVAS, TOOLS = QgsMapCanvas(), Tools()
    main(sys.argv[1])
    QgsProject.instance().clear()
