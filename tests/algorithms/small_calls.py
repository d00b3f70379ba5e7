"""Small field calls to test with: one truth in SI units, written down in either unit system."""
import datetime
import functools
import hashlib
import tempfile
from pathlib import Path

from osgeo import gdal, ogr

from plugin.record.create import create_record
from plugin.record.write import append_rows

CRS = "EPSG:32615"
WEST, SOUTH = 500003.0, 4400002.0
# 200 m by 200 m less a corner of 50 m by 50 m / 2.
FIELD_WKT = ("POLYGON ((500003 4400002, 500203 4400002, 500203 4400152, 500153 4400202, "
             "500003 4400202, 500003 4400002))")
AREA_M2 = 38_750.0
ROW_M, COUNTED_M = 0.762, 10.0  # 30 in rows; two rows of 10 m are counted at a stop
GROUND_M2 = 2 * ROW_M * COUNTED_M
LIMIT_KPA = 2000.0
# SI in one of the record's unit. Inch, foot, pound-force and pound by the yard and pound
# agreement of 1959; a bushel of corn is 56 lb.
POUND = 0.45359237
FACTORS = {
    "metric": {"depth": 0.01, "length": 1.0, "area": 10_000.0, "pressure": 1.0, "mass": 1.0,
               "grain": 1000.0},
    "us": {"depth": 0.0254, "length": 0.3048, "area": 43_560 * 0.3048**2,
           "pressure": POUND * 9.80665 / 0.0254**2 / 1000, "mass": POUND, "grain": 56 * POUND}}


@functools.cache
def _empty(units):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "call.gpkg"
        boundary = ogr.CreateGeometryFromWkt(FIELD_WKT).ExportToWkb()
        create_record(path, bytes(boundary), CRS, units=units, field=field_of(units))
        return path.read_bytes()


def field_of(units):
    """The field row: one truth, in the record's units."""
    one = FACTORS[units]
    return {
        "name": "Test piece", "crop": "corn", "season": 2026,
        "planting_date": datetime.date(2026, 4, 24), "replant_date": datetime.date(2026, 5, 20),
        "seeds_planted": 8.4 * one["area"], "row_width": ROW_M / one["depth"],
        "expected_yield": 1.25 * one["area"] / one["grain"],  # 1.25 kg per m2: 12.5 t/ha
        "crop_price": 0.18 * one["grain"], "currency": "USD",
        "target_stand": 8.0 * one["area"], "expected_emergence": 95.0, "seed_unit_cost": 280.0,
        "termination_cost": 0.003 * one["area"], "replanting_cost": 0.006 * one["area"],
        "pan_limit": LIMIT_KPA / one["pressure"], "tillage_margin": 0.02 / one["depth"],
        "tillage_least": 0.20 / one["depth"], "tillage_greatest": 0.45 / one["depth"],
        "tillage_step": 0.05 / one["depth"], "tillage_cost": 0.0058 * one["area"]}


def make_call(path, units="us", *, field=None, stands=(), insertions=(), profiles=None):
    """Write a record: the field with some columns changed, stand counts, insertions.

    stands and insertions are rows as append_rows takes them, in the record's units; profiles
    are (depths in m, resistances in kPa) of each insertion, or None where it has none.
    """
    path = Path(path)
    path.write_bytes(_empty(units))
    if field:
        change_field(path, **field)
    if stands:
        append_rows(path, "stand_counts", list(stands))
    if insertions:
        ids = append_rows(path, "compaction_readings", list(insertions))
        one = FACTORS[units]
        rows = [{"of_insertion": reading, "depth": depth / one["depth"],
                 "resistance": resistance / one["pressure"]}
                for reading, profile in zip(ids, profiles or []) if profile
                for depth, resistance in zip(*profile)]
        append_rows(path, "compaction_profile", rows)
    return path


def change_field(path, **values):
    """Set columns of the field row; None empties one."""
    change_rows(path, "field", lambda feature: values)


def change_rows(path, layer_name, values_of):
    """Set columns straight through OGR, past every check: values_of(feature) -> dict or None."""
    dataset = gdal.OpenEx(str(path), gdal.OF_VECTOR | gdal.OF_UPDATE)
    layer = dataset.GetLayerByName(layer_name)
    for feature in list(layer):
        for name, value in (values_of(feature) or {}).items():
            if value is None:
                feature.SetFieldNull(name)
            elif isinstance(value, datetime.date):
                feature.SetField(name, value.isoformat().replace("-", "/"))
            else:
                feature.SetField(name, value)
        assert layer.SetFeature(feature) == 0
    layer = dataset = None


def sha256(path):
    """Return the SHA-256 of a file's bytes."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def stops():
    """Positions of 24 stops, 40 m apart; the one that the cut corner takes away is left out."""
    return [(WEST + 20 + 40 * column, SOUTH + 20 + 40 * row)
            for row in range(5) for column in range(5) if (row, column) != (4, 4)]


def stand_rows(units="us", density=lambda x, y: 7.0 if x < 500103 else 3.5, places=None):
    """A stand count at each stop, of the plants per m2 that `density` says."""
    one = FACTORS[units]
    return [{"x": x, "y": y, "stop": number, "method": "row_length", "rows": 2,
             "length": COUNTED_M / one["length"], "plants": round(density(x, y) * GROUND_M2)}
            for number, (x, y) in enumerate(stops() if places is None else places, 1)]


def insertion_rows(places=None):
    """An insertion at each stop."""
    return [{"x": x, "y": y, "stop": number, "means": "gauge", "cone": "small",
             "moisture": "moist", "place": "between_rows"}
            for number, (x, y) in enumerate(stops() if places is None else places, 1)]


def profile_of(top_m, bottom_m, *, soft=800.0, hard=3200.0, step_m=0.05, deepest_m=0.5):
    """A profile that passes 2000 kPa, half way between soft and hard, at top and bottom.

    top and bottom must lie in the middle of a step.
    """
    depths = [round(step_m * number, 6) for number in range(1, round(deepest_m / step_m) + 1)]
    return depths, [hard if top_m is not None and top_m < depth < bottom_m else soft
                    for depth in depths]


NO_PAN = profile_of(None, None)


def pan_in_the_north(x, y):
    """A pan from 22.5 to 32.5 cm north of the middle of the field, none south of it."""
    return profile_of(0.225, 0.325) if y > SOUTH + 90 else NO_PAN


def whole_call(path, units="us", **options):
    """A record with a stand that is thin in the east and a pan in the north."""
    return make_call(path, units, stands=stand_rows(units), insertions=insertion_rows(),
                     profiles=[pan_in_the_north(*place) for place in stops()], **options)
