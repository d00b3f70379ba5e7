"""What is true of the sample field, as its README states it."""
import numpy as np
import pytest

from plugin.core.units import convert
from sample_project import boundary, truth

LOW, SOUND_WEST, NO_PAN = (122, 285), (250, 100), (560, 120)
HEADLAND, LANE = (300, 10), (250, 460.78)


@pytest.fixture(scope="module")
def lattice():
    """Truth every 4 m in the field, and the hectares that one place stands for."""
    across, along = np.meshgrid(np.arange(2.0, 640, 4), np.arange(-10.0, 640, 4))
    local = np.column_stack([across.ravel(), along.ravel()])
    return truth.truth_at(boundary.to_map(local[boundary.inside(local)])), 16 / 10_000


def at(place):
    return {name: values[0] for name, values in truth.truth_at(boundary.to_map([place])).items()}


def test_the_low_part_holds_9_to_16_thousand_plants_on_5_to_6_hectares(lattice):
    true, hectares = lattice
    thin = true["population"] < 16_000
    assert 5.0 <= thin.sum() * hectares <= 6.0
    assert true["population"].min() >= 9_000


def test_the_middle_of_the_low_part_is_crusted_and_thin():
    assert at(LOW)["crust"] > 0.99
    assert 9_000 <= at(LOW)["population"] <= 14_000


def test_elsewhere_the_stand_varies_mildly_about_31500_in_sound_rows(lattice):
    true, _ = lattice
    fine = (true["crust"] < 0.001) & ~true["headland"]
    # 31,500 and a wave of at most 700 plants/ac.
    assert true["population_sound"][fine].min() >= 30_700
    assert true["population_sound"][fine].max() <= 32_200
    assert true["population_sound"][fine].mean() == pytest.approx(31_500, abs=200)


def test_one_weak_row_of_sixteen_takes_its_share_off_the_mean_of_all_rows():
    # 35 % of one row in 16: 1 - 0.35 / 16 = 0.978125.
    true = at(SOUND_WEST)
    assert true["population"] / true["population_sound"] == pytest.approx(0.978125, rel=1e-12)


def test_the_headland_costs_six_percent_of_the_stand():
    # 36.6 m is the edge of the headland; the stand steps there and varies little over 0.2 m.
    edge_along = 36.6
    just_in, just_out = (at((310, -8 + edge_along + step)) for step in (-0.1, 0.1))
    assert just_in["headland"] and not just_out["headland"]
    ratio = just_in["population_sound"] / just_out["population_sound"]
    assert ratio == pytest.approx(0.94, abs=0.001)


@pytest.mark.parametrize("place", [HEADLAND, LANE])
def test_headland_and_lane_have_a_shallow_strong_pan(place):
    true = at(place)
    assert true["pan"]
    assert 6.0 <= true["pan_top"] <= 8.0
    assert 11.0 <= true["pan_bottom"] <= 13.0
    assert true["peak"] >= 420


def test_the_plough_pan_is_deeper_and_weaker():
    true = at(SOUND_WEST)
    assert true["pan"] and not true["headland"] and not true["lane"]
    assert 9.0 <= true["pan_top"] <= 12.0
    assert 12.0 <= true["pan_bottom"] <= 15.0
    assert 360 <= true["peak"] <= 410


def test_the_east_has_no_pan_down_to_18_inches():
    true = at(NO_PAN)
    assert not true["pan"]
    assert np.isnan(true["pan_top"]) and np.isnan(true["pan_bottom"])
    assert truth.resistance_at(boundary.to_map([NO_PAN]), np.arange(1, 19)).max() < 300


def test_every_pan_in_the_field_has_the_stated_depths(lattice):
    true, hectares = lattice
    strong, pan = true["headland"] | true["lane"], true["pan"]
    for part, top, bottom in ((strong, (6, 8), (11, 13)), (pan & ~strong, (9, 12), (12, 15))):
        assert top[0] <= true["pan_top"][part].min() and true["pan_top"][part].max() <= top[1]
        assert bottom[0] <= true["pan_bottom"][part].min()
        assert true["pan_bottom"][part].max() <= bottom[1]
    assert true["peak"][~pan].max() < 300
    assert 10.0 <= (~pan).sum() * hectares <= 14.0


def test_straight_lines_between_true_readings_find_the_pan_again(lattice):
    true, _ = lattice
    places = boundary.to_map([SOUND_WEST, HEADLAND, LANE, LOW])
    stated = truth.truth_at(places)
    depths = np.arange(1, 19)
    for place, readings in enumerate(truth.resistance_at(places, depths)):
        over = np.flatnonzero(readings >= 300)
        first, last = over[0], over[-1]
        top = np.interp(300, readings[first - 1:first + 1], depths[first - 1:first + 1])
        bottom = np.interp(-300, -readings[last:last + 2], depths[last:last + 2])
        # Where the background cuts off the foot of the ramp the line is off by 0.04 in at most.
        assert top == pytest.approx(stated["pan_top"][place], abs=0.05)
        assert bottom == pytest.approx(stated["pan_bottom"][place], abs=0.05)


@pytest.mark.parametrize(("season", "low_loss"), [(2024, 0.24), (2025, 0.10)])
def test_harvests_lose_in_the_low_part_what_is_stated(season, low_loss):
    # The same place without its crust would yield 1 / (1 - loss) as much: 3 % for the pan too.
    yields = truth.dry_yield_at(boundary.to_map([LOW]), season)[0]
    sound = truth.DRY_YIELD[season] * 0.97 * (1 - low_loss)
    assert yields == pytest.approx(sound, rel=0.05)  # the smooth wave of 5 %


def test_the_area_of_the_field_is_about_86_acres():
    assert convert(boundary.area_m2(), "m2", "ac") == pytest.approx(86.5, abs=0.1)
