"""A summary of another shape is refused in words that tell what is wrong with it."""
import json

import pytest

from plugin.core.problems import InputProblem
from tests.report.field_call_folder import summary, write_summary


def test_the_summary_comes_back_as_it_was_written(tmp_path):
    from plugin.report.summary_shape import read_summary
    assert read_summary(write_summary(tmp_path / "summary.json", summary())) == summary()


@pytest.mark.parametrize(("content", "message"), [
    ("{", "does not read as JSON"),
    ("[]", "holds no named sections"),
    (json.dumps({"type": "FeatureCollection"}), "made is missing; field is missing"),
    (json.dumps({**summary(), "units": "furlongs"}), "units are furlongs, not us or metric"),
    (json.dumps({**summary(), "stand": []}), "stand is not what it should be"),
    (json.dumps({**summary(), "field": {"name": " "}}), "the field has no name"),
    (json.dumps({**summary(), "tillage": {}}), "tillage has no zones"),
    (json.dumps({**summary(), "pan": {"top": {"value": 3.0, "unit": "in"}}}),
     "pan.top has no text"),
    (json.dumps({**summary(), "readings": [{"title": "x", "count": {"value": 1}}]}),
     "readings 1.count has no text"),
])
def test_each_fault_is_named_and_the_way_out_too(tmp_path, content, message):
    from plugin.report.summary_shape import read_summary
    path = tmp_path / "other.json"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(InputProblem, match=message) as refused:
        read_summary(path)
    assert "other.json" in str(refused.value)
    assert "Choose the summary.json" in str(refused.value)


def test_a_missing_file_is_named(tmp_path):
    from plugin.report.summary_shape import read_summary
    with pytest.raises(InputProblem, match="no file .*gone.json. Run the field call first"):
        read_summary(tmp_path / "gone.json")
