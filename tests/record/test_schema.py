import pytest

from plugin.core.problems import InputProblem
from plugin.core.units import METRIC, US
from plugin.record.schema import (
    KINDS,
    LAYERS,
    description_with_unit,
    layer_spec,
    title_of_value,
    title_with_unit,
    unit_of,
)

EVERY_COLUMN = [(layer, column) for layer in LAYERS for column in layer.columns]


@pytest.mark.parametrize("layer,column,us,metric", [
    ("field", "row_width", "in", "cm"),
    ("field", "seeds_planted", "seeds/ac", "seeds/ha"),
    ("field", "crop_price", "CAD/bu", "CAD/t"),
    ("field", "drying_cost", "CAD/point/bu", "CAD/point/t"),
    ("field", "tillage_cost", "CAD/ac", "CAD/ha"),
    ("field", "seed_unit_cost", "CAD/seed unit", "CAD/seed unit"),
    ("field", "row_heading", "degrees", "degrees"),
    ("field", "smallest_zone", "ac", "ha"),
    ("field", "nitrogen_greatest", "lb/ac", "kg/ha"),
    ("field", "nitrogen_price", "CAD/lb", "CAD/kg"),
    ("field", "lime_step", "ton/ac", "t/ha"),
    ("field", "lime_price", "CAD/ton", "CAD/t"),
    ("field", "name", "", ""),
    ("stand_counts", "length", "ft", "m"),
    ("compaction_profile", "resistance", "psi", "kPa"),
    ("probe_points", "nitrate_n_ppm", "ppm", "ppm"),
    ("yield_points", "flow", "lb/s", "kg/s"),
    ("yield_points", "dry_yield", "bu/ac", "t/ha"),
])
def test_a_column_is_kept_in_the_unit_of_the_records_system(layer, column, us, metric):
    spec = layer_spec(layer).column(column)
    assert (unit_of(spec, US, "CAD"), unit_of(spec, METRIC, "CAD")) == (us, metric)


def test_every_measured_number_names_its_unit_and_no_word_does():
    without = {(layer.name, column.name) for layer, column in EVERY_COLUMN
               if column.kind == "real" and not unit_of(column, US, "USD")}
    assert without == {("field", "target_ph"), *(
        ("probe_points", name) for name in ("ph", "surface_ph", "buffer_ph"))}
    # pH has no unit
    assert not [column for _, column in EVERY_COLUMN
                if column.kind not in ("int", "real") and unit_of(column, US, "USD")]


def test_titles_and_descriptions_carry_the_unit_in_words():
    spec = layer_spec("seed_depths").column("depth")
    assert title_with_unit(spec, METRIC, "USD") == "Seed depth (cm)"
    assert description_with_unit(spec, US, "USD") == \
        "From the soil's surface to the seed. Unit: in."
    assert description_with_unit(layer_spec("field").column("name"), US, "USD") == \
        "What the field is called."


def test_titles_are_unique_within_a_layer_so_that_a_form_can_be_read():
    for layer in LAYERS:
        titles = [column.title for column in layer.columns]
        assert len(set(titles)) == len(titles), layer.name


@pytest.mark.parametrize("layer,column", EVERY_COLUMN,
                         ids=lambda part: getattr(part, "name", None))
def test_each_column_agrees_with_itself(layer, column):
    assert column.kind in KINDS
    assert column.description.endswith(".")
    if column.default is not None and column.values:
        assert column.default in column.values
    if column.default is not None and column.kind in ("int", "real"):
        # A text box takes a value that equals the file's default for none at all (QGIS 3.44),
        # which breaks every rule: both ends make a spin box of it.
        assert column.low is not None and column.high is not None
    if column.low is not None and column.high is not None:
        assert column.low < column.high
    assert layer.columns[0].name == "reading_id"


def test_every_child_names_a_parent_that_is_there_and_a_column_of_its_own():
    children = {layer.name: layer.parent for layer in LAYERS if layer.parent}
    assert set(children) == {"row_counts", "plant_positions", "compaction_profile"}
    for name, (parent, column) in children.items():
        assert layer_spec(parent).geometry == "point"
        assert layer_spec(name).column(column).required


def test_an_unknown_layer_or_column_is_refused_by_name():
    with pytest.raises(InputProblem, match="no layer stand_count; it has field, stand_counts"):
        layer_spec("stand_count")
    with pytest.raises(InputProblem, match="seed_depths has no column deep; it has reading_id"):
        layer_spec("seed_depths").column("deep")


def test_a_stored_word_is_shown_in_plain_words():
    assert title_of_value("between_rows") == "between rows"
    assert title_of_value("at_capacity") == "at field capacity"
