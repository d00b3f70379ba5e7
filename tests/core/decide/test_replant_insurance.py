import pytest

from plugin.core.decide.replant_insurance import replant_cover
from plugin.core.problems import InputProblem


def cover(crop="corn", **changed):
    given = {"history_yield": 100, "coverage_level": 50, "price": 4.66, "appraised_yield": 20,
             **changed}
    return replant_cover(crop, **given)


def test_the_payment_is_held_to_20_percent_of_a_low_guarantee():
    # guarantee 30, 20 % of it 6 bu, below the 8 of the crop: 6 x 4.66
    assert cover(history_yield=60, appraised_yield=5).payment == pytest.approx(27.96)


def test_the_payment_is_held_to_the_shortfall():
    # guarantee 50, trigger 45, appraised 43: 2 bu x 4.66
    assert cover(appraised_yield=43).payment == pytest.approx(9.32)


@pytest.mark.parametrize("appraised", [45, 60])
def test_an_appraisal_at_or_over_the_trigger_pays_nothing(appraised):
    found = cover(appraised_yield=appraised)
    assert (found.trigger, found.shortfall, found.payment) == (45, 0, 0)


@pytest.mark.parametrize(("changed", "message"), [
    ({"crop": "wheat"}, "no replant payment is known for wheat; known are corn, soybean, sorghum"),
    ({"coverage_level": 0}, "coverage_level is 0 %"), ({"price": None}, "price is empty"),
    ({"history_yield": 0}, "history_yield is 0 bu/ac"),
    ({"appraised_yield": -2}, "appraised_yield is -2 bu/ac")])
def test_figures_that_cannot_be_are_refused(changed, message):
    with pytest.raises(InputProblem, match=f"(?i){message}"):
        cover(**changed)
