"""Values of one row to an OGR feature and back."""
import datetime

from osgeo import ogr


def set_values(feature, layer, row):
    """Put a checked row into an OGR feature; None becomes NULL.

    Times keep whole milliseconds, the finest a GeoPackage holds.
    """
    for column in layer.columns:
        value, place = row[column.name], feature.GetFieldIndex(column.name)
        if value is None:
            feature.SetFieldNull(place)
        elif column.kind == "date":
            feature.SetField(place, value.year, value.month, value.day, 0, 0, 0.0, 0)
        elif column.kind == "datetime":
            seconds = value.second + value.microsecond // 1000 / 1000
            feature.SetField(place, value.year, value.month, value.day, value.hour, value.minute,
                             seconds, 0)
        elif column.kind == "text":
            feature.SetFieldString(place, value)
        elif column.kind == "real":
            feature.SetField(place, value)
        else:
            feature.SetFieldInteger64(place, int(value))


def reader_of(kind, place):
    """Return a function that reads field number `place` of a feature as a plain value.

    Numbers come as float, truths as bool, dates and times as `datetime` objects; NULL as None.
    """
    def read(feature):
        return None if not feature.IsFieldSetAndNotNull(place) else _READERS[kind](feature, place)
    return read


def _date(feature, place):
    year, month, day = feature.GetFieldAsDateTime(place)[:3]
    return datetime.date(year, month, day)


def _datetime(feature, place):
    year, month, day, hour, minute, seconds, _ = feature.GetFieldAsDateTime(place)
    milliseconds = min(round(seconds * 1000), 59_999)
    return datetime.datetime(year, month, day, hour, minute, milliseconds // 1000,
                             milliseconds % 1000 * 1000)


_READERS = {
    "text": ogr.Feature.GetFieldAsString,
    "int": ogr.Feature.GetFieldAsDouble,
    "real": ogr.Feature.GetFieldAsDouble,
    "bool": lambda feature, place: bool(feature.GetFieldAsInteger(place)),
    "date": _date,
    "datetime": _datetime,
}
