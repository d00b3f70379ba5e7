"""sidedressplan and limeplan, through Processing, and the field call that makes both."""
import json
import subprocess

import pytest
from osgeo import gdal

from plugin.core.interpolate.estimate import MEAN
from plugin.record.write import append_rows
from tests.algorithms.small_calls import AREA_M2, FACTORS, make_call, stops
from tests.algorithms.small_surfaces import write_by_hand

WEST_M2 = 97 * 200.0  # of the field, west of 500100
KG = 0.45359237
LONG_TON = 2000 * KG  # kg in a short ton
UNITS = {"us": ("lb/ac", "ton/ac"), "metric": ("kg/ha", "t/ha")}


def soil_field(units="us", **changes):
    """The settings of both plans: 10 lb/ac and half a ton/ac a step, in the record's units."""
    one = FACTORS[units]
    nitrogen = KG / FACTORS["us"]["area"] * one["area"] / one["mass"]  # of one lb/ac
    tonne = {"us": LONG_TON, "metric": 1000.0}[units]
    lime = LONG_TON / FACTORS["us"]["area"] * one["area"] / tonne      # of one ton/ac
    return {
        "nitrate_rule": "sidedress_iowa_1997", "wet_spring": False,
        "usual_nitrogen": 120 * nitrogen, "nitrogen_step": 10 * nitrogen,
        "nitrogen_greatest": 150 * nitrogen, "nitrogen_price": 0.5 / KG * one["mass"],
        "lime_method": "lime_oregon_2025", "lime_buffer": "sikora", "target_ph": 6.4,
        "lime_depth": 6 * 0.0254 / one["depth"], "lime_quality": 100.0, "lime_step": 0.5 * lime,
        "lime_greatest": 4 * lime, "lime_price": 30 / LONG_TON * tonne, **changes}


@pytest.fixture
def record(qgis_app, tmp_path):
    """Return record(units, **changes): a record with the settings of both plans, some changed."""
    def made(units="us", **changes):
        return make_call(tmp_path / f"{units}.gpkg", units, field=soil_field(units, **changes))
    return made


def surface_in(folder, name, west, east, unit="", error=0.0, **more):
    """A surface of one value in the west and one in the east; its draws vary by the error."""
    model = {"family": "exponential", "nugget": 0.0, "partial_sill": error**2 or 1e-12,
             "range_m": 200.0}
    return write_by_hand(folder / f"{name}.tif", lambda x, y: west if x < 500_100 else east,
                         unit=unit, error=error, name=name, model=model, **more)


def nitrate_in(folder, west=30.0, east=12.0, **more):
    return surface_in(folder, "Nitrate", west, east, **{"unit": "ppm", **more})


def ph_in(folder, west=6.6, east=5.5, buffers=(6.8, 6.4), **more):
    return {"PH": surface_in(folder, "pH", west, east, **more),
            "BUFFER_PH": surface_in(folder, "Buffer_pH", *buffers, **more)}


def rows_in(path, layer=0):
    data = gdal.OpenEx(str(path))
    return [row.items() for row in data.GetLayer(layer)]


def by_action(path, layer=0):
    return {row["action"]: row for row in rows_in(path, layer)}


def test_nitrogen_goes_where_the_nitrate_is_low(run, provider, record, tmp_path, out):
    found = run("sidedressplan", RECORD=record(), NITRATE=nitrate_in(tmp_path), PLAN=out / "p.gpkg",
                ACCOUNT=out / "p.json")
    assert set(found) == {one.name() for one in provider.algorithm("sidedressplan")
                          .outputDefinitions()}
    rows, acre = by_action(out / "p.gpkg"), FACTORS["us"]["area"]
    apply, none = rows["apply"], rows["none"]
    # (25 - 12) x 8 = 104 lb/ac, to the 10: 100; 30 ppm needs none.
    assert (apply["rate"], apply["rate_unit"], none["rate"]) == (pytest.approx(100), "lb/ac", 0)
    assert none["area"] == pytest.approx(WEST_M2 / acre)
    assert apply["amount"] == pytest.approx(100 * (AREA_M2 - WEST_M2) / acre)
    assert apply["cost"] == pytest.approx(apply["amount"] * 0.5)
    assert apply["gain_area"] == pytest.approx((120 - 100) * 0.5)
    assert none["gain"] == pytest.approx(120 * 0.5 * none["area"])
    assert (found["SPREAD"], found["AMOUNT"]) == pytest.approx((apply["area"], apply["amount"]))
    # 110 from a need of 105, 25 - 105 / 8 = 11.875; 90 below 95, from 13.125 on; in tenths of ppm.
    assert apply["more_up_to_a_nitrate_of"] == pytest.approx(11.8)
    assert apply["less_from_a_nitrate_of"] == pytest.approx(13.2)
    assert apply["rate_for_1_ppm_of_nitrate"] == pytest.approx(8)
    assert apply["money_for_1_ppm_of_nitrate"] == pytest.approx(4)
    assert none["more_up_to_a_nitrate_of"] == pytest.approx(24.3)  # 5 lb: 25 - 5 / 8 = 24.375
    assert none["less_from_a_nitrate_of"] is None
    account = json.loads((out / "p.json").read_text())
    assert account["headline"].startswith("Sidedress 100 lb/ac of nitrogen on 4.8 ac of 9.6 ac: ")
    assert account["headline"].endswith("less than the usual rate everywhere.")
    settings = {one["name"]: one["figure"]["text"] for one in account["settings"]}
    assert settings["Nitrate rule"] == "Late-spring nitrate test, Iowa 1997"
    assert settings["Greatest nitrogen rate"] == "150 lb/ac"
    assert settings["Wet spring"] == "no" and settings["Nitrogen price"] == "USD 0.50/lb"
    assert any("wells" in caution for caution in account["cautions"])


def test_lime_goes_where_the_soil_is_acid(run, provider, record, tmp_path, out):
    found = run("limeplan", RECORD=record(), **ph_in(tmp_path), PLAN=out / "p.gpkg",
                ACCOUNT=out / "p.json")
    assert set(found) == {one.name() for one in provider.algorithm("limeplan")
                          .outputDefinitions()}
    rows = by_action(out / "p.gpkg")
    # Oregon, buffer 6.4 to 6.4: 2.1, to the half 2.0; pH 6.6 is above the target.
    assert (rows["apply"]["rate"], rows["none"]["rate"]) == (pytest.approx(2.0), 0)
    assert rows["apply"]["rate_unit"] == "ton/ac"
    assert rows["none"]["area"] == pytest.approx(WEST_M2 / FACTORS["us"]["area"])
    assert rows["apply"]["cost"] == pytest.approx(60 * rows["apply"]["area"])
    # 2.5 from a need of 2.25: 6.4 - 0.15 / 4; 1.5 below 1.75: 6.5 + 0.05 / 3 (0.4 and 0.3 a tenth)
    assert rows["apply"]["more_up_to_a_buffer_ph_of"] == pytest.approx(6.36)
    assert rows["apply"]["less_from_a_buffer_ph_of"] == pytest.approx(6.52)
    account = json.loads((out / "p.json").read_text())
    assert account["headline"] == \
        "Spread 2.00 ton/ac of lime on 4.8 ac of 9.6 ac: 9.6 ton in all, USD 287."
    assert "Sikora buffer alone" in account["cautions"][0]
    assert account["zones"][0]["figures"]["mean pH"]["text"] in ("5.50", "6.60")


def test_the_decision_does_not_depend_on_the_units(run, record, tmp_path, out):
    found = {}
    for units, (nitrogen, lime) in UNITS.items():
        given = {"RECORD": record(units)}
        run("sidedressplan", **given, NITRATE=nitrate_in(tmp_path, error=2.0),
            PLAN=out / f"{units}_n.gpkg")
        run("limeplan", **given, **ph_in(tmp_path, error=0.05), PLAN=out / f"{units}_l.gpkg")
        area, per = FACTORS[units]["area"], FACTORS[units]["mass"]
        tonne = {"us": LONG_TON, "metric": 1000.0}[units]
        found[units] = []
        for end, unit, mass in (("n", nitrogen, per), ("l", lime, tonne)):
            for _, row in sorted(by_action(out / f"{units}_{end}.gpkg").items()):
                assert row["rate_unit"] == unit
                found[units] += [row["rate"] * mass / area, row["need_low"] * mass / area,
                                 row["need_high"] * mass / area, row["gain"], row["chance"],
                                 row["cost"]]
    assert found["us"] == pytest.approx(found["metric"], rel=1e-6, abs=1e-6)  # rounding
    assert max(found["us"]) > 100


def test_a_rule_chosen_takes_the_place_of_the_records(run, record, tmp_path, out):
    from plugin.core.decide.nitrate_rules import nitrate_rules
    ohio = list(nitrate_rules()).index("sidedress_ohio_2022") + 1
    run("sidedressplan", RECORD=record(), NITRATE=nitrate_in(tmp_path, 26.0, 19.0), RULE=ohio,
        PLAN=out / "p.gpkg")
    # Above 25 ppm none; 16 to 20 ppm 45 off the usual 120: 75, a tie, which goes up.
    assert by_action(out / "p.gpkg")["apply"]["rate"] == pytest.approx(80)


def test_too_few_readings_for_a_map_give_one_rate_for_the_whole_field(run, record, tmp_path, out):
    mean = dict(method=MEAN, places=6)
    run("sidedressplan", RECORD=record(), NITRATE=nitrate_in(tmp_path, 12.0, 12.0, **mean),
        PLAN=out / "p.gpkg", ACCOUNT=out / "n.json")
    run("limeplan", RECORD=record(), **ph_in(tmp_path, 5.5, 5.5, (6.4, 6.4), **mean),
        PLAN=out / "p.gpkg", ACCOUNT=out / "l.json")
    for name in "nl":
        account = json.loads((out / f"{name}.json").read_text())
        assert len(account["zones"]) == 1
        assert account["headline"].startswith("The readings give no map; for the field as a whole:")


NITROGEN_REFUSALS = {
    "no rule": ({"nitrate_rule": None}, "field, nitrate_rule: Nitrate rule is empty"),
    "several empty": ({"nitrogen_step": None, "nitrogen_greatest": None, "wet_spring": None},
                      "field: these are empty: Wet spring, Greatest nitrogen rate, Nitrogen step"),
    "wet, manure unknown": ({"wet_spring": True}, "Manure since harvest is empty"),
    "usual rate asked for": ({"nitrate_rule": "sidedress_illinois", "usual_nitrogen": None},
                             "field, usual_nitrogen: Usual nitrogen rate is empty"),
    "by yield": ({"nitrate_rule": "sidedress_pennsylvania", "expected_yield": None},
                 "these are empty: Expected yield, Manure since harvest, Manure earlier, Crop bef"),
    "soybean": ({"crop": "soybean"}, "The field grows soybean, so no sidedress plan is made"),
    "step 0": ({"nitrogen_step": 0.0}, "nitrogen_step is 0 lb/ac. Enter a number above 0"),
    "step above the greatest": ({"nitrogen_step": 200.0}, "nitrogen_greatest is 150 lb/ac"),
    "least above the greatest": ({"nitrogen_least": 160.0}, "nitrogen_least is 160 lb/ac"),
    "price negative": ({"nitrogen_price": -0.5}, "nitrogen_price is -0.5 USD/lb")}


@pytest.mark.parametrize("changes,words", NITROGEN_REFUSALS.values(), ids=NITROGEN_REFUSALS)
def test_a_record_that_gives_no_sidedress_plan_is_refused(refused, record, tmp_path, out, changes,
                                                          words):
    path = record(**changes)
    before = path.read_bytes()
    refused(words, "sidedressplan", RECORD=path, NITRATE=nitrate_in(tmp_path), PLAN=out / "p.gpkg",
            ACCOUNT=out / "p.json")
    assert list(out.iterdir()) == [] and path.read_bytes() == before


LIME_REFUSALS = {
    "no method": ({"lime_method": None}, "field, lime_method: Lime method is empty"),
    "several empty": ({"lime_buffer": None, "target_ph": None, "lime_quality": None},
                      "these are empty: Buffer test, Target pH, Lime quality"),
    "another buffer": ({"lime_buffer": "smp"},
                       "field, lime_buffer: the laboratory used the SMP buffer, but the method .*"
                       "is for the Sikora buffer alone"),
    "target beyond the table": ({"target_ph": 7.5}, "has targets from pH 5.6 to 7.2"),
    "depth 0": ({"lime_depth": 0.0}, "The depth to lime is 0 m"),
    "quality 0": ({"lime_quality": 0.0}, "lime_quality is 0 % effective"),
    "greatest 0": ({"lime_greatest": 0.0}, "lime_greatest is 0 ton/ac"),
    "price negative": ({"lime_price": -1.0}, "lime_price is -1 USD/ton")}


@pytest.mark.parametrize("changes,words", LIME_REFUSALS.values(), ids=LIME_REFUSALS)
def test_a_record_that_gives_no_lime_plan_is_refused(refused, record, tmp_path, out, changes,
                                                     words):
    path = record(**changes)
    before = path.read_bytes()
    refused(words, "limeplan", RECORD=path, **ph_in(tmp_path), PLAN=out / "p.gpkg",
            ACCOUNT=out / "p.json")
    assert list(out.iterdir()) == [] and path.read_bytes() == before


def test_surfaces_that_give_no_plan_are_refused(refused, record, tmp_path, out):
    path = record()
    nitrogen = {"RECORD": path, "PLAN": out / "p.gpkg"}
    refused("Nitrate is in %; this plan needs ppm", "sidedressplan", **nitrogen,
            NITRATE=nitrate_in(tmp_path, unit="%"))
    refused("4 stops are too few", "sidedressplan", **nitrogen,
            NITRATE=nitrate_in(tmp_path, places=4))
    lime = ph_in(tmp_path)
    fine = write_by_hand(tmp_path / "fine.tif", lambda x, y: 6.0, unit="", cell_m=10.0)
    refused("not on the same grid. Make both", "limeplan", **nitrogen, **{**lime, "PH": fine})
    refused("lie outside the table", "limeplan", **nitrogen,
            **ph_in(tmp_path, 5.0, 5.0, (5.4, 6.0)))
    refused("Buffer_pH does not carry its readings", "limeplan", **nitrogen,
            **ph_in(tmp_path, sites=False))
    assert list(out.iterdir()) == []


def test_a_buffer_beyond_the_table_counts_as_the_nearest_where_asked(run, record, tmp_path, out):
    run("limeplan", RECORD=record(lime_greatest=9.0), **ph_in(tmp_path, 5.0, 5.0, (5.4, 6.0)),
        OUTSIDE=1, PLAN=out / "p.gpkg", ACCOUNT=out / "p.json")
    assert sorted(row["rate"] for row in rows_in(out / "p.gpkg")) == pytest.approx([3.5, 7.0])
    assert any("50.1 % of the area" in caution for caution in
               json.loads((out / "p.json").read_text())["cautions"])


@pytest.mark.parametrize("quality,rate", [
    ({"QUALITY": 60}, 3.5),                  # 2.1 / 0.60
    ({"EFFECTIVE_POUNDS": 1400}, 3.0),       # 2.1 / 0.70
    ({"PASSING_20": 95, "PASSING_60": 70, "PASSING_100": 50,
      "CARBONATE_EQUIVALENT": 90}, 3.0)])    # 68.4 %: 3.07
def test_the_quality_of_the_lime_may_come_from_its_analysis(run, record, tmp_path, out, quality,
                                                            rate):
    run("limeplan", RECORD=record(lime_quality=None), **ph_in(tmp_path), **quality,
        PLAN=out / "p.gpkg")
    assert by_action(out / "p.gpkg")["apply"]["rate"] == pytest.approx(rate)


@pytest.mark.parametrize("quality,words", [
    ({"QUALITY": 60, "EFFECTIVE_POUNDS": 1400}, "given by QUALITY, EFFECTIVE_POUNDS. Give one"),
    ({"PASSING_20": 95, "PASSING_60": 70}, "given by PASSING_20, PASSING_60. Give one of these"),
    ({"PASSING_20": 50, "PASSING_60": 70, "PASSING_100": 50, "CARBONATE_EQUIVALENT": 90},
     "Each finer sieve lets less through"),
    ({"QUALITY": 0}, "lime_quality is 0"), ({"EFFECTIVE_POUNDS": 0}, "0 effective lb/ton")])
def test_a_quality_told_twice_or_by_half_is_refused(refused, record, tmp_path, out, quality, words):
    refused(words, "limeplan", RECORD=record(), **ph_in(tmp_path), **quality, PLAN=out / "p.gpkg")
    assert list(out.iterdir()) == []


@pytest.mark.parametrize("percent", [-1, 30, 85])
def test_soil_plans_cancelled_half_way_leave_nothing(run, cancelling, record, tmp_path, out,
                                                     percent):
    for name, given in (("sidedressplan", {"NITRATE": nitrate_in(tmp_path, error=1.0)}),
                        ("limeplan", ph_in(tmp_path, error=0.1))):
        assert run(name, cancelling(percent), RECORD=record(), PLAN=out / "p.gpkg",
                   ACCOUNT=out / "p.json", **given) == {}
    assert list(out.iterdir()) == []


def test_a_second_run_replaces_the_first(run, record, tmp_path, out):
    for _ in range(2):
        run("sidedressplan", RECORD=record(), NITRATE=nitrate_in(tmp_path), PLAN=out / "n.gpkg")
        run("limeplan", RECORD=record(), **ph_in(tmp_path), PLAN=out / "l.gpkg")
    assert sorted(path.name for path in out.iterdir()) == ["l.gpkg", "n.gpkg"]


def samples(units, nitrate, places=None):
    """A 12-inch core of that nitrate and a short one, more acid in the east, at each stop."""
    inch = 0.0254 / FACTORS[units]["depth"]
    rows = []
    for number, (x, y) in enumerate(stops() if places is None else places):
        here = {"x": x, "y": y, "stop": number + 1, "top_depth": 0.0}
        acid = (x > 500_100) + 0.05 * (number % 3)
        rows += [{**here, "core_type": "nitrate", "bottom_depth": 12 * inch,
                  "nitrate_n_ppm": nitrate(x, y) + number % 3},
                 {**here, "core_type": "short", "bottom_depth": 7 * inch, "ph": 6.2 - 0.7 * acid,
                  "ph_method": "laboratory", "buffer_ph": 6.8 - 0.4 * acid}]
    return rows


@pytest.mark.parametrize("units", ["us", "metric"])
def test_a_field_call_makes_both_plans_and_hands_them_over(run, record, out, units):
    path = record(units)
    append_rows(path, "probe_points", samples(units, lambda x, y: 12.0 if x > 500_100 else 30.0))
    found = run("fieldcall", RECORD=path, OUTPUT_FOLDER=out / "call", CELL=20)
    folder = out / "call"
    summary = json.loads((folder / "summary.json").read_text(encoding="utf-8"))
    assert summary["lacking"] == found["LACKING"].splitlines() == [
        "Stand: the record holds no stand counts.", "Pan: the record holds no insertions.",
        "Rate files of the nitrogen product: field, nitrogen_content is empty, so the rates count "
        "nitrogen itself. Enter it for rates of the product."]
    for key, rate_unit in zip(("sidedress", "lime"), UNITS[units]):
        zones = summary[key]["zones"]
        assert {zone["rate"]["unit"] for zone in zones} == {rate_unit}
        assert sum(zone["area"]["value"] for zone in zones) == pytest.approx(
            AREA_M2 / FACTORS[units]["area"], rel=1e-9)
        assert {file.suffix for file in folder.glob(f"rates/{key}.*")} == {
            ".gpkg", ".shp", ".shx", ".dbf", ".prj", ".cpg", ".geojson", ".zip"}
        assert {row["unit"] for row in rows_in(folder / "rates" / f"{key}.gpkg")} == {rate_unit}
        assert set(summary[key]["cautions"]) <= set(summary["cautions"])
    rates = [zone["rate"]["value"] for zone in summary["sidedress"]["zones"]]
    assert min(rates) == 0 and len(rates) > 1  # the west has enough, the east has not
    assert {path.stem for path in folder.glob("surfaces/*.tif")} == {"nitrate", "ph", "buffer_ph"}
    assert all("map" in one for one in summary["soil"])


@pytest.mark.parametrize("units,density,unit", [
    ("us", 11.06, "gal/ac"), ("metric", 1.325280, "L/ha"), ("us", None, "lb/ac")])
def test_a_field_calls_rate_files_count_the_product_of_the_nitrogen(run, record, out, units,
                                                                   density, unit):
    path = record(units, nitrogen_content=32.0, nitrogen_density=density)
    append_rows(path, "probe_points", samples(units, lambda x, y: 12.0))
    run("fieldcall", RECORD=path, OUTPUT_FOLDER=out / "call", CELL=20)
    folder = out / "call"
    planned, = by_action(f"{folder}/zones.gpkg", "sidedress_plan").values()
    assert planned["rate_of"] == "nitrogen"
    written, = rows_in(folder / "rates" / "sidedress.gpkg")
    # planned / 0.32; a gallon holds 11.06 lb, a litre 1.325280 kg
    assert written["unit"] == unit
    assert written["rate"] == pytest.approx(planned["rate"] / 0.32 / (density or 1), abs=0.06)
    text = subprocess.run(["pdftotext", "-layout", f"{folder}/rates/sidedress_work_order.pdf", "-"],
                          check=True, capture_output=True, text=True).stdout
    assert "Nitrogen in the product" in text and "32 %" in text
    assert "nitrogen itself" not in text


def test_a_field_call_names_what_its_soil_plans_lack(run, record, out):
    path = record(nitrogen_step=None, lime_buffer="mehlich")
    rows = samples("us", lambda x, y: 12.0)
    rows[0] |= {"bottom_depth": 7.0}     # too shallow for nitrate
    append_rows(path, "probe_points", rows)
    _spoil(path)
    found = run("fieldcall", RECORD=path, OUTPUT_FOLDER=out / "call", CELL=20)
    lacking = found["LACKING"].splitlines()
    assert "Sidedress plan: field, nitrogen_step: Nitrogen step is empty." in " ".join(lacking)
    assert "Lime plan: field, lime_buffer: the laboratory used the Mehlich" in " ".join(lacking)
    summary = json.loads((out / "call" / "summary.json").read_text(encoding="utf-8"))
    assert summary["sidedress"] is None and summary["lime"] is None
    nitrate = next(one for one in summary["soil"] if one["name"] == "nitrate_n_ppm")
    assert (nitrate["samples"]["value"], nitrate["left_out"]["value"]) == (22, 2)
    assert "row 1, Nitrate nitrogen: the core goes down only 7 in" in nitrate["warnings"][0]
    assert "row 3, Nitrate nitrogen: -4 cannot be" in nitrate["warnings"][1]


def _spoil(path):
    """Enter a negative nitrate past every check."""
    from tests.algorithms.small_calls import change_rows
    change_rows(path, "probe_points", lambda row: {"nitrate_n_ppm": -4.0}
                if row.GetFID() == 3 else None)


def test_too_few_samples_for_any_figure_are_named(run, record, out):
    path = record()
    append_rows(path, "probe_points", samples("us", lambda x, y: 12.0, stops()[:3]))
    found = run("fieldcall", RECORD=path, OUTPUT_FOLDER=out / "call", CELL=20)
    assert "Sidedress plan: Nitrate nitrogen: 3 stops are too few to plan an area from" in \
        found["LACKING"]
