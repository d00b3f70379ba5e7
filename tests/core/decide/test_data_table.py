import pytest

from plugin.core.decide.data_table import data_table_names, read_data_table
from plugin.core.problems import InputProblem


@pytest.mark.parametrize("name", data_table_names())
def test_every_table_says_where_it_comes_from_and_whether_it_was_read(name):
    table = read_data_table(name)
    assert all(table.head[key] for key in ("title", "source", "year", "note", "status_in_words"))
    assert table.head["status"] in ("R", "R2", "M", "O")
    assert ("memory" in table.head["status_in_words"]) >= (table.head["status"] == "M")


@pytest.mark.parametrize("name", data_table_names())
def test_every_row_of_a_table_is_complete(name):
    table = read_data_table(name)
    assert table.rows
    assert all(len(row) == len(table.columns) and all(row) for row in table.rows)


def test_a_name_that_is_no_table_is_refused_with_those_there_are():
    with pytest.raises(InputProblem, match="no table called ../plan; there are compaction_rating"):
        read_data_table("../plan")
