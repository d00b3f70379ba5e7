import pytest

from plugin.core.decide.data_table import data_table_names, read_data_table
from plugin.core.observe.growth_stage import (
    TABLES,
    growth_stages,
    stage_in_words,
    stage_of_bbch,
    stage_of_leaves,
    stages_disagree,
)


@pytest.mark.parametrize("name", data_table_names(TABLES))
def test_every_table_of_this_stage_says_where_it_comes_from(name):
    table = read_data_table(name, TABLES)
    assert all(table.head[key] for key in ("title", "source", "year", "note", "status_in_words"))
    assert table.head["status"] in ("R", "R2", "M", "O")
    assert ("memory" in table.head["status_in_words"]) >= (table.head["status"] == "M")
    assert all(len(row) == len(table.columns) for row in table.rows)


@pytest.mark.parametrize("crop", ["corn", "soybean"])
def test_stages_go_up_and_no_name_or_leaf_count_comes_twice(crop):
    stages = growth_stages(crop)
    assert [one.bbch for one in stages] == sorted({one.bbch for one in stages})
    assert len({one.name for one in stages}) == len(stages)
    leaves = [one.leaves for one in stages if one.leaves is not None]
    assert leaves == list(range(len(leaves)))


@pytest.mark.parametrize("crop,leaves,name,bbch", [
    ("corn", 2, "V2", 12), ("corn", 0, "VE", 9), ("corn", 9, "V9", 19), ("corn", 14, "V14", 19),
    ("soybean", 0, "VC", 11), ("soybean", 1, "V1", 12), ("soybean", 3, "V3", 14)])
def test_leaves_give_the_stage(crop, leaves, name, bbch):
    found = stage_of_leaves(crop, leaves)
    assert (found.name, found.bbch) == (name, bbch)


def test_a_crop_or_a_code_without_a_row_gives_none():
    assert stage_of_leaves("wheat", 2) is None and growth_stages(None) == ()
    assert stage_of_bbch("corn", 33) is None and stage_of_bbch("corn", 65).name == "R1"


@pytest.mark.parametrize("crop,bbch,leaves,words", [
    ("corn", None, 2, "V2 (BBCH 12)"), ("corn", 13, 2, "V2 (BBCH 13)"),
    ("corn", 12, None, "V2 (BBCH 12)"), ("corn", 33, None, "BBCH 33"), ("corn", None, None, ""),
    ("wheat", 21, None, "BBCH 21"), ("wheat", None, 3, "leaves counted: 3"),
    ("corn", 9, None, "VE (BBCH 09)"), ("corn", 65, 14, "V14 (BBCH 65)")])
def test_a_stage_is_said_as_the_trade_does(crop, bbch, leaves, words):
    assert stage_in_words(crop, bbch=bbch, leaves=leaves) == words


@pytest.mark.parametrize("bbch,leaves,apart", [
    (12, 2, False), (13, 2, False), (14, 2, True), (17, 2, True), (65, 14, False),
    (None, 2, False), (12, None, False)])
def test_bbch_may_run_one_leaf_ahead_and_no_more(bbch, leaves, apart):
    assert stages_disagree("corn", bbch, leaves) is apart
