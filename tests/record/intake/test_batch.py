"""The statements that write an import agree with the record's schema."""
import re

import pytest

from plugin.core.intake.proposal import words_for
from plugin.core.problems import InputProblem
from plugin.record.intake.batch import COMPLETE, INSERT
from plugin.record.intake.kinds import KINDS, LABORATORY, kind_named
from plugin.record.intake.known import IDS_OF, SAMPLES
from plugin.record.schema import LAYERS, layer_spec

READINGS = [layer for layer in LAYERS if layer.name != "field"]


@pytest.mark.parametrize("layer", READINGS, ids=lambda layer: layer.name)
def test_every_column_of_a_layer_is_written_once_and_by_its_name(layer):
    table, columns, values = re.fullmatch(
        r"INSERT INTO (\w+) \((.*)\) VALUES \((.*)\)", INSERT[layer.name]).groups()
    expected = ["geom"] * (layer.geometry == "point") + [one.name for one in layer.columns]
    assert table == layer.name and columns.split(", ") == expected
    assert values.split(", ") == [f":{name}" for name in expected]
    assert IDS_OF[layer.name] == f"SELECT reading_id FROM {layer.name}"


def test_what_the_laboratory_adds_are_columns_of_the_probe_points_in_one_order():
    for name in LABORATORY:
        layer_spec("probe_points").column(name)
        assert f"{name} = coalesce({name}, :{name})" in COMPLETE
    assert SAMPLES.split(" FROM")[0].endswith(", ".join(LABORATORY))


def test_every_reading_of_the_record_has_a_kind_and_every_column_goes_by_some_words():
    layers = {kind.layer for kind in KINDS} | {kind.child for kind in KINDS if kind.child}
    assert layers == {layer.name for layer in READINGS}
    for layer in READINGS:
        for column in layer.columns:
            if column.name == "reading_id" or layer.parent and column.name == layer.parent[1]:
                continue
            own = f"{layer.name}.{column.name}"
            assert words_for(layer.name, own if layer.parent else column.name), own


def test_a_kind_that_is_not_there_is_refused_by_name():
    with pytest.raises(InputProblem, match="no kind of readings 'stands'; there are stand_counts"):
        kind_named("stands")
