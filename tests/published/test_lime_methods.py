"""Lime against the tables and examples of its sources."""
import numpy as np
import pytest

from plugin.core.decide.lime_methods import lime_needed, load_lime_method
from plugin.core.decide.lime_quality import effective_by_fineness, effective_by_pounds
from plugin.core.problems import InputProblem

INCH_M = 0.0254

# Oregon State EM 9585 (2025), table 1: tons/ac of 100-score lime, 6 in; columns are target pH
OREGON = """
6.9 0.0 0.0 0.5 0.8 1.0
6.8 0.0 0.4 0.8 1.2 1.6
6.7 0.2 0.7 1.1 1.6 2.2
6.6 0.4 0.9 1.5 2.1 2.7
6.5 0.7 1.2 1.8 2.5 3.3
6.4 0.9 1.5 2.1 2.9 3.8
6.3 1.1 1.7 2.5 3.3 4.4
6.2 1.3 2.0 2.8 3.7 4.9
6.1 1.5 2.3 3.1 4.2 5.5
6.0 1.7 2.5 3.5 4.6 6.0
5.9 1.9 2.8 3.8 5.0 6.6
5.8 2.2 3.1 4.1 5.4 7.1
5.7 2.7 4.0 5.5 7.2 9.9
5.6 3.1 4.5 6.2 8.3 11.4
5.5 3.5 5.1 7.0 9.3 12.9
"""
TARGETS = (5.6, 6.0, 6.4, 6.8, 7.2)


def needed(method, ph, buffer_ph, target, depth_in, unit="ton/ac", **more):
    found = lime_needed(load_lime_method(method), np.asarray(ph, float),
                        np.asarray(buffer_ph, float), target_ph=target,
                        depth_m=depth_in * INCH_M, unit=unit, **more)
    return found.rates


@pytest.mark.parametrize("row", OREGON.split("\n")[1:-1])
def test_oregon_gives_every_cell_of_its_table(row):
    buffer, *rates = map(float, row.split())
    for target, rate in zip(TARGETS, rates):
        assert needed("lime_oregon_2025", 5.0, buffer, target, 6) == pytest.approx(rate, abs=1e-9)


def test_oregon_is_halved_for_three_inches_of_no_till_and_raised_for_a_weaker_lime():
    # buffer 6.4, target 6.4: 2.1 t; 3 in: 1.05 t; lime score 85: 1.24 t
    shallow = needed("lime_oregon_2025", 5.5, 6.4, 6.4, 3)
    assert shallow == pytest.approx(1.05)
    assert shallow / 0.85 == pytest.approx(1.24, abs=0.005)


def test_oregon_is_read_straight_between_its_cells():
    # half-way between 6.4 (2.1) and 6.5 (1.8), and between targets 6.0 (1.5) and 6.4 (2.1)
    assert needed("lime_oregon_2025", 5.5, 6.45, 6.4, 6) == pytest.approx(1.95)
    assert needed("lime_oregon_2025", 5.5, 6.4, 6.2, 6) == pytest.approx(1.8)


def test_north_carolina_takes_the_way_to_the_target():
    # NCDA&CS buffer table: acidity 1.2 (buffer 6.3), pH 5.0 to 6.0: 1.2 x 1.0 / 1.6 = 0.75; the
    # page prints 0.76
    assert needed("lime_north_carolina", 5.0, 6.3, 6.0, 8) == pytest.approx(0.76, abs=0.011)
    assert needed("lime_north_carolina", 6.6, 6.3, 6.0, 8) == 0


def test_tri_state_of_1995_gives_the_worked_rate():
    # E-2567, from memory: index 65 to 6.5: 60.4 - 0.87 x 65 = 3.85 t of lime of neutralizing value
    # 90, 4.33 t of value 80; 4 in without tillage: 1.93 t
    pure = needed("lime_tri_state_1995", 5.5, 6.5, 6.5, 8)
    assert pure / 0.90 == pytest.approx(3.85, abs=0.005)
    assert pure / 0.80 == pytest.approx(4.33, abs=0.005)
    assert needed("lime_tri_state_1995", 5.5, 6.5, 6.5, 4) / 0.9 == pytest.approx(1.93, abs=0.005)


def test_kansas_gives_the_worked_rate():
    # MF-2586, from memory: buffer 6.5, 6 in, to 6.8: (25620 - 6360 x 6.5 + 391 x 42.25) x 6
    assert needed("lime_kansas", 5.5, 6.5, 6.8, 6, "lb/ac") == pytest.approx(4799, abs=1)


def test_kansas_asks_for_nothing_where_its_equation_turns_up_again():
    # its bottom is at 6360 / (2 x 391) = 8.13, where the equation gives less than 0
    assert needed("lime_kansas", 5.5, 8.9, 6.8, 6, "lb/ac") == 0


def test_new_yorks_index_of_effectiveness_gives_the_worked_lime():
    # 95/70/50 % through 20/60/100 mesh, equivalent 90: (10 + 16 + 50) x 0.90 = 68.4
    assert effective_by_fineness(passing_20=95, passing_60=70, passing_100=50,
                                 carbonate_equivalent=90) == pytest.approx(68.4)


def test_ohios_effective_pounds_give_the_worked_rate():
    # 4 t of full strength as a product of 1,400 lb/ton: 4 x 2000 / 1400 = 5.7 t
    assert 4 / (effective_by_pounds(1400) / 100) == pytest.approx(5.7, abs=0.05)


@pytest.mark.parametrize("method", ["lime_oregon_2025", "lime_north_carolina",
                                    "lime_tri_state_1995", "lime_kansas"])
def test_soil_at_the_target_needs_no_lime_whatever_its_buffer(method):
    assert needed(method, [6.0, 6.4, 7.0], [6.2, 6.0, 5.9], 6.0, 6).tolist() == [0, 0, 0]


def test_a_buffer_outside_the_table_is_refused_or_counts_as_the_nearest():
    with pytest.raises(InputProblem, match=r"1 of 2 buffer pH, such as 5.40, lie outside"):
        needed("lime_oregon_2025", [5.0, 5.0], [5.4, 6.0], 6.4, 6)
    found = lime_needed(load_lime_method("lime_oregon_2025"), [5.0, 5.0, 6.5], [5.4, 6.0, 5.4],
                        target_ph=6.4, depth_m=6 * INCH_M, unit="ton/ac", outside="clamp")
    assert found.rates == pytest.approx([7.0, 3.5, 0])
    assert found.outside.tolist() == [True, False, False]


@pytest.mark.parametrize(("method", "target", "said"), [
    ("lime_oregon_2025", 7.5, "targets from pH 5.6 to 7.2; 7.5 was asked"),
    ("lime_north_carolina", 6.8, "targets below pH 6.6; 6.8 was asked"),
    ("lime_tri_state_1995", 6.4, "target pH 6, 6.5, 6.8; 6.4 was asked"),
    ("lime_kansas", 6.5, "target pH 6, 6.8; 6.5 was asked")])
def test_a_target_the_method_does_not_know_is_refused(method, target, said):
    with pytest.raises(InputProblem, match=said):
        needed(method, 5.0, 6.2, target, 6)


def test_a_metric_record_gets_the_same_lime():
    # 1 short ton/ac = 0.90718474 t / 0.40468564224 ha
    us = needed("lime_oregon_2025", 5.0, [6.0, 6.3], 6.4, 6)
    metric = needed("lime_oregon_2025", 5.0, [6.0, 6.3], 6.4, 6, "t/ha")
    assert metric == pytest.approx(us * 0.90718474 / 0.40468564224)
