"""A made-up field call's folder and summary, small enough to check by eye."""
import json

import numpy as np
from osgeo import gdal, ogr, osr

EPSG = 32616
WEST, SOUTH, WIDTH, HEIGHT = 500_000.0, 4_500_000.0, 800.0, 600.0
CELL = 10.0


def figure(value, unit, text):
    """Return a figure as a summary holds it."""
    return {"value": value, "unit": unit, "text": text}


def span(low, high, unit):
    """Return an interval as a summary holds it."""
    ends = [figure(value, unit, f"{value:,} {unit}") for value in (low, high)]
    text = ends[0]["text"] if low == high else f"{ends[0]['text']} to {ends[1]['text']}"
    return {"low": ends[0], "high": ends[1], "text": text}


def boundary_wkb():
    """Return the field: a rectangle with one corner cut off."""
    return ogr.CreateGeometryFromWkt(boundary_wkt()).ExportToWkb()


def boundary_wkt():
    east, north = WEST + WIDTH, SOUTH + HEIGHT
    return (f"POLYGON(({WEST} {SOUTH},{east} {SOUTH},{east} {north - 180},{east - 220} {north},"
            f"{WEST} {north},{WEST} {SOUTH}))")


def crs_wkt():
    """Return the field's CRS, UTM zone 16 N."""
    return spatial().ExportToWkt()


def spatial():
    made = osr.SpatialReference()
    made.ImportFromEPSG(EPSG)
    return made


def _grid():
    columns, rows = int(WIDTH / CELL), int(HEIGHT / CELL)
    x, y = np.meshgrid((np.arange(columns) + 0.5) / columns, (np.arange(rows) + 0.5) / rows)
    return x, y


def write_raster(path, estimate, error):
    """Write a GeoTIFF of two bands, NaN outside."""
    rows, columns = estimate.shape
    made = gdal.GetDriverByName("GTiff").Create(str(path), columns, rows, 2, gdal.GDT_Float64)
    made.SetGeoTransform((WEST, CELL, 0, SOUTH + HEIGHT, 0, -CELL))
    made.SetProjection(crs_wkt())
    for band, values in ((1, estimate), (2, error)):
        made.GetRasterBand(band).SetNoDataValue(float("nan"))
        made.GetRasterBand(band).WriteArray(values)
    made.FlushCache()


def write_layer(path, name, kind, columns, rows):
    """Add a layer to a GeoPackage; each row is (WKT, values of the columns)."""
    driver = ogr.GetDriverByName("GPKG")
    made = driver.Open(str(path), 1) if path.exists() else driver.CreateDataSource(str(path))
    layer = made.CreateLayer(name, spatial(), kind)
    for column, kind_of_column in columns:
        layer.CreateField(ogr.FieldDefn(column, kind_of_column))
    for wkt, values in rows:
        feature = ogr.Feature(layer.GetLayerDefn())
        feature.SetGeometry(ogr.CreateGeometryFromWkt(wkt))
        for (column, _), value in zip(columns, values):
            if value is not None:
                feature.SetField(column, value)
        layer.CreateFeature(feature)
    layer = made = None


def rectangle(x0, y0, x1, y1):
    """Return WKT of a rectangle given in shares of the field's box."""
    x0, x1 = WEST + x0 * WIDTH, WEST + x1 * WIDTH
    y0, y1 = SOUTH + y0 * HEIGHT, SOUTH + y1 * HEIGHT
    return f"MULTIPOLYGON((({x0} {y0},{x1} {y0},{x1} {y1},{x0} {y1},{x0} {y0})))"


def write_folder(folder):
    """Write surfaces/, zones.gpkg and observations.gpkg of the made-up field call."""
    (folder / "surfaces").mkdir(parents=True)
    x, y = _grid()
    surfaces = {
        "stand": 27_000 + 5_000 * np.sin(4 * x) - 9_000 * np.exp(-((x - .3)**2 + (y - .6)**2) * 20),
        "pan_chance": 1 / (1 + np.exp(-8 * (x - y))),
        "pan_top": 6 + 4 * x, "pan_bottom": 10 + 5 * y + 2 * x,
        "yield_2025": 170 + 40 * np.cos(3 * x) * np.sin(4 * y)}
    for name, estimate in surfaces.items():
        write_raster(folder / "surfaces" / f"{name}.tif", estimate, np.full_like(estimate, 2.0))
    zones = folder / "zones.gpkg"
    plan_columns = [("zone", ogr.OFTInteger), ("action", ogr.OFTString), ("rate", ogr.OFTReal),
                    ("rate_unit", ogr.OFTString)]
    write_layer(zones, "replant_plan", ogr.wkbMultiPolygon, plan_columns, [
        (rectangle(0, 0, 1, .3), (1, "keep", 0.0, "seeds/ac")),
        (rectangle(0, .3, .5, 1), (2, "replant", 34_000.0, "seeds/ac")),
        (rectangle(.5, .3, 1, 1), (3, "keep", 0.0, "seeds/ac"))])
    write_layer(zones, "tillage_plan", ogr.wkbMultiPolygon, plan_columns, [
        (rectangle(0, 0, .25, 1), (1, "leave", 0.0, "in")),
        (rectangle(.25, 0, .5, 1), (2, "till", 12.0, "in")),
        (rectangle(.5, 0, .75, 1), (3, "till", 14.0, "in")),
        (rectangle(.75, 0, 1, .5), (4, "till", 16.0, "in")),
        (rectangle(.75, .5, 1, 1), (5, "cannot reach", 0.0, "in"))])
    for name in ("stand_unsure", "pan_bottom_unsure"):
        write_layer(zones, name, ogr.wkbMultiPolygon, [("note", ogr.OFTString)],
                    [(rectangle(.7, .0, 1, .25), ("far from a stop",))])
    write_layer(zones, "field", ogr.wkbPolygon, [
        ("name", ogr.OFTString), ("area", ogr.OFTReal), ("area_unit", ogr.OFTString)],
        [(boundary_wkt(), ("Home quarter, north half", 115.8, "ac"))])
    draws = np.random.default_rng(7).uniform(0.04, 0.96, (36, 2))
    places = [f"POINT({WEST + a * WIDTH} {SOUTH + b * HEIGHT * 0.72})" for a, b in draws]
    write_layer(folder / "observations.gpkg", "stand", ogr.wkbPoint,
                [("label", ogr.OFTString), ("value", ogr.OFTReal)],
                [(place, (f"stop {number}", 26_000.0 + number))
                 for number, place in enumerate(places)])
    kinds = ["pan", "open", "none", "stone"]
    write_layer(folder / "observations.gpkg", "pan", ogr.wkbPoint,
                [("label", ogr.OFTString), ("kind", ogr.OFTString), ("bottom", ogr.OFTReal)],
                [(place, (f"insertion {n}", kinds[n % 4], 12.0 if n % 4 < 2 else None))
                 for n, place in enumerate(places)])
    return folder


def plan_zone(number, action, rate, area, per_area, gain, interval, chance, figures):
    """Return one zone of a plan as a summary holds it."""
    return {"zone": str(number), "action": action, "rate": rate, "area": area,
            "gain_per_area": per_area, "gain": gain, "interval": interval, "chance": chance,
            "figures": figures}


def summary():
    """Return a summary in which every section is there."""
    stand_figures = [{"mean stand": figure(19_400 + n, "plants/ac", f"19,{400 + n} plants/ac"),
                      "gain if replanted": figure(31.2, "USD/ac", f"31.{n} USD/ac"),
                      "seed units": figure(17, "", f"1{n} units of seed"),
                      "yield kept": figure(82, "%", f"8{n} %"),
                      "yield replanted": figure(91, "%", f"9{n}.5 %"),
                      "cost of replanting": figure(44, "USD/ac", f"44.{n} USD/ac")}
                     for n in range(1, 4)]
    replant_zones = [
        plan_zone(1, "keep", figure(0, "seeds/ac", "0 seeds/ac"), figure(35.6, "ac", "35.6 ac"),
                  figure(0, "USD/ac", "0 USD/ac"), figure(0, "USD", "0 USD"),
                  span(0, 0, "USD"), figure(0.12, "", "12 %"), stand_figures[0]),
        plan_zone(2, "replant", figure(34_000, "seeds/ac", "34,000 seeds/ac"),
                  figure(41.5, "ac", "41.5 ac"), figure(52.4, "USD/ac", "52.40 USD/ac"),
                  figure(2175, "USD", "2,175 USD"), span(640, 3710, "USD"),
                  figure(0.93, "", "93 %"), stand_figures[1]),
        plan_zone(3, "keep", figure(0, "seeds/ac", "0.0 seeds/ac"), figure(38.7, "ac", "38.7 ac"),
                  figure(0, "USD/ac", "0.00 USD/ac"), figure(0, "USD", "0.0 USD"),
                  span(0, 0, "USD"), figure(0.31, "", "31 %"), stand_figures[2])]
    tillage_zones = [
        plan_zone(n, action, figure(depth, "in", f"{depth} in"), figure(20 + n, "ac", f"2{n}.4 ac"),
                  figure(21.5, "USD/ac", f"21.{n} USD/ac"), figure(430, "USD", f"43{n} USD"),
                  span(380 + n, 480, "USD"), figure(0.8, "", f"8{n} %"),
                  {"pan bottom": figure(11, "in", f"11.{n} ± 0.9 in")})
        for n, (action, depth) in enumerate([("leave", 0), ("till", 12), ("till", 14),
                                             ("till", 16), ("cannot reach", 0)], 1)]
    caution = ("Confirm hybrid maturity, herbicide and insurance limits, and local advice before "
               "replanting.")
    return {
        "made": {"program": "Spadework", "version": "0.1.0", "at": "2026-05-19T17:40:00",
                 "record": "home_quarter.gpkg", "sha256": "9f" * 32},
        "units": "us",
        "field": {"name": "Home quarter, north half", "grower": "A. Grower", "crop": "corn",
                  "season": 2026, "planted": "2026-04-25", "visited": "2026-05-19",
                  "area": figure(115.8, "ac", "115.8 ac")},
        "readings": [
            {"layer": "stand_counts", "title": "Stand counts", "count": figure(36, "", "36 stops"),
             "used": figure(35, "", "35 of them"), "note": "Stop 14 has a length of 0 ft."},
            {"layer": "compaction_readings", "title": "Compaction readings",
             "count": figure(37, "", "37 insertions"), "used": figure(34, "", "34 used"),
             "note": ""},
            {"layer": "yield_points", "title": "Yield points",
             "count": figure(8210, "", "8,210 points"), "used": figure(7988, "", "7,988 kept"),
             "note": "222 set aside: turns, overlaps and flow delay."}],
        "stand": {"title": "Stand", "unit": "plants/ac",
                  "mean": figure(26_400, "plants/ac", "26,400 plants/ac"),
                  "interval": span(25_300, 27_500, "plants/ac"),
                  "target": figure(32_000, "plants/ac", "32,000 plants/ac"),
                  "stops": figure(36, "", "36 stops"),
                  "method": "Ordinary kriging of 36 readings.",
                  "detail": "Ordinary kriging of 36 readings; exponential model by restricted "
                            "maximum likelihood, range parameter 212 m.",
                  "error": "The error of a count rests on the spread between rows.",
                  "verdict": "The map predicts left-out stops better than the plain mean: its "
                             "errors are 31 % smaller.",
                  "zones": [{"title": f"{a} to {b} plants/ac",
                             "area": figure(30, "ac", f"{a}.5 ac"),
                             "mean": figure(a, "plants/ac", f"{a},900 plants/ac"),
                             "standard_deviation": figure(900, "plants/ac", f"{a}9 plants/ac")}
                            for a, b in ((18, 22), (22, 26), (26, 30))]},
        "pan": {"limit": figure(300, "psi", "300 psi"),
                "rating": {"text": "58 % of the insertions met the limit: moderate, by a table "
                                   "for the top 16 in, from memory. Subsoiling may help where "
                                   "the soil is dry enough to shatter.", "rating": "moderate",
                           "share": .58, "low": .42, "high": .73},
                "insertions": figure(37, "", "37"), "with_pan": figure(19, "", "19"),
                "none": figure(9, "", "9"), "refused": figure(9, "", "9"),
                "top": figure(8.1, "in", "8.1 in"), "bottom": figure(12.6, "in", "12.6 in"),
                "area_with_pan": figure(61.3, "ac", "61.3 ac"),
                "maps": {
                    "chance": {"method": "Ordinary kriging of 37 readings.",
                               "detail": "Ordinary kriging of 37 readings; range parameter 333 m.",
                               "verdict": "The map holds: it is off by 0.3 as a rule."},
                    "top": {"method": "Mean of 19 readings.",
                            "detail": "Mean of 19 readings, 4 of them known only as limits.",
                            "verdict": "The 19 readings do not support a map of the top."},
                    "bottom": {"method": "Mean of 18 readings.",
                               "detail": "Mean of 18 readings, 5 of them known only as limits.",
                               "verdict": "The 18 readings do not support a map of the bottom."}}},
        "yields": [{"season": 2025, "mean": figure(171.2, "bu/ac", "171.2 bu/ac"),
                    "points": figure(7988, "", "7,988 points"),
                    "removed": figure(222, "", "222 points set aside"),
                    "method": "Ordinary kriging of 7,988 readings.",
                    "detail": "Ordinary kriging of 7,988 readings; range parameter 90 m.",
                    "verdict": "Neighbouring passes agree within 6 %."}],
        "replant": {"title": "Replant plan",
                    "headline": "Replant 41.5 ac in zone 2 at 34,000 seeds/ac and keep the rest; "
                                "this is expected to pay 2,175 USD, and 93 times in 100 it pays",
                    "zones": replant_zones,
                    "totals": {"area_by_action": {"keep": figure(74.3, "ac", "74.3 ac"),
                                                  "replant": figure(41.5, "ac", "41.50 ac")},
                               "gain": figure(2175, "USD", "2,175 USD in all"),
                               "interval": span(640, 3710, "USD")},
                    "settings": [{"name": f"setting number {n}",
                                  "figure": figure(n, "%", f"{n}.25 %")}
                                 for n in range(1, 12)]
                    + [{"name": "seed rebate (from memory)", "figure": figure(50, "%", "50 %")}],
                    "sources": ["Corn yield by planting date and stand, Illinois, 1994, from "
                                "memory.", "Partial budget of this program."],
                    "break_even": figure(21_850, "plants/ac", "21,850 plants/ac"),
                    "cautions": [caution]},
        "tillage": {"title": "Tillage plan",
                    "headline": "Till 66.9 ac between 12 and 16 in and leave 21.4 ac alone.",
                    "zones": tillage_zones,
                    "totals": {"area_by_action": {"leave": figure(21.4, "ac", "21.40 ac"),
                                                  "till": figure(66.9, "ac", "66.9 ac")},
                               "gain": figure(460, "USD", "460 USD saved"),
                               "interval": span(380, 540, "USD")},
                    "settings": [{"name": "margin", "figure": figure(1.5, "in", "1.5 in")}],
                    "sources": ["Depth rule of this program."], "break_even": None,
                    "cautions": ["Have buried utilities and tile lines located before tilling."]},
        "cautions": [caution, "This report defers to the state's extension tables and to licensed "
                              "advisers."],
        "lacking": ["Nitrogen: no probe points with nitrate from a 12 in core."]}


def write_summary(path, content):
    """Write a summary as JSON."""
    path.write_text(json.dumps(content, ensure_ascii=False), encoding="utf-8")
    return path
