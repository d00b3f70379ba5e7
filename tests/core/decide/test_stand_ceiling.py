import pytest

from plugin.core.decide.data_table import read_data_table
from plugin.core.decide.stand_ceiling import TABLE, stand_ceiling_per_m2


def test_the_ceiling_is_that_of_the_table_per_square_metre():
    # 170,000 a hectare of 10,000 m2.
    assert stand_ceiling_per_m2("corn") == pytest.approx(17.0, rel=1e-12)


@pytest.mark.parametrize("crop", ["other", None])
def test_a_crop_that_is_not_in_the_table_has_no_ceiling(crop):
    assert stand_ceiling_per_m2(crop) is None


def test_the_ceilings_lie_above_what_farmers_sow():
    # Dense sowings of extension bulletins, plants/ha: corn 100,000 (40,000/ac), drilled soybean
    # 500,000 (200,000/ac), wheat 4,500,000, irrigated sorghum 250,000 (100,000/ac).
    dense = {"corn": 1e5, "soybean": 5e5, "wheat": 4.5e6, "sorghum": 2.5e5}
    assert {crop for crop, _ in read_data_table(TABLE).rows} == set(dense)
    for crop, plants_per_ha in dense.items():
        assert stand_ceiling_per_m2(crop) * 1e4 > 1.5 * plants_per_ha


def test_the_table_says_that_it_is_the_programs_own():
    assert "own choice" in read_data_table(TABLE).head["status_in_words"]
