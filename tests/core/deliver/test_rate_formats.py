import pytest

from plugin.core.deliver.rate_formats import FORMATS, file_names, where_it_goes

VECTOR = list(FORMATS[:3])


def test_a_single_format_keeps_the_name_given():
    for one in FORMATS:
        assert file_names(f"any.name{one.extension}", [one]) == [f"any.name{one.extension}"]
        assert file_names("any.txt", [one]) is None
    assert file_names("R.SHP", [FORMATS[1]]) == ["R.SHP"]


@pytest.mark.parametrize("name", ["r.gpkg", "r.shp", "r.geojson"])
def test_of_several_formats_each_gets_its_ending(name):
    assert file_names(name, VECTOR) == ["r.gpkg", "r.shp", "r.geojson"]


def test_task_files_of_one_plan_do_not_share_a_name():
    assert file_names("r.zip", FORMATS[3:]) == ["r.zip", "r_grid.zip", "r_codes.zip"]
    assert file_names("r_grid.zip", FORMATS[3:]) == ["r.zip", "r_grid.zip", "r_codes.zip"]
    assert file_names("r.gpkg", FORMATS[3:]) is None


def test_the_place_of_a_task_file_is_marked_as_from_memory():
    assert ["†" in where_it_goes(one) for one in FORMATS] == [False] * 3 + [True] * 3
    assert all(end in where_it_goes(FORMATS[1]) for end in (".shp", ".shx", ".dbf", ".prj", ".cpg"))
