from datetime import date

from plugin.core.decide.break_even_curve import BreakEven
from plugin.core.decide.sensitivity import Sensitivity, Turn
from plugin.core.deliver.sensitivity_account import (
    REPLANT_TITLES,
    break_even_account,
    sensitivity_account,
)

NONE = Turn(None, False, 1.125, 18.0)
FOUND = (
    Sensitivity("crop_price", "USD/bu", 4.5, Turn(2.43219, False, 1.125, 18.0), NONE),
    Sensitivity("seed_rebate", "%", 50.0, Turn(None, False, 0.0, 100.0), None),
    Sensitivity("replant_date", "", date(2026, 5, 20),
                Turn(date(2026, 5, 31), True, date(2026, 4, 25), date(2026, 6, 9)),
                Turn(date(2026, 5, 1), False, date(2026, 4, 25), date(2026, 6, 9))),
    Sensitivity("chance_limit", "", 0.5, Turn(0.904, True, 0.0, 1.0), None),
    Sensitivity("loss_by_a_pan_left", "USD/ac", 46.9, None,
                Turn(None, True, 0.0, float("inf"))))


def rows():
    found = sensitivity_account(FOUND, titles=REPLANT_TITLES, names={"crop_price": "Crop price"})
    return found, {row["setting"]: [row[part]["text"] for part in ("now", "worked", "spared")]
                   for row in found["rows"]}


def test_each_turn_is_said_in_plain_words():
    _, said = rows()
    assert said == {
        "crop_price": ["USD 4.50/bu", "below USD 2.43/bu", "none from USD 1.12/bu to USD "
                       "18.00/bu"],
        "seed_rebate": ["50 %", "none from 0 % to 100 %", "no such ground"],
        "replant_date": ["2026-05-20", "on 2026-05-31 or later", "on 2026-05-01 or earlier"],
        "chance_limit": ["50 %", "above 90 %", "no such ground"],
        "loss_by_a_pan_left": ["USD 46.90/ac", "no such ground", "none from USD 0.00/ac to any "
                               "value"]}


def test_the_account_keeps_values_in_full_and_names_what_turns_nothing():
    found, _ = rows()
    assert found["titles"] == list(REPLANT_TITLES)
    assert found["rows"][0]["name"] == "Crop price"
    assert found["rows"][0]["worked"]["value"] == 2.43219
    assert found["rows"][2]["worked"]["value"] == "2026-05-31"
    assert found["steady"] == ["seed_rebate", "Loss by a pan left in place"]
    assert sensitivity_account((), titles=REPLANT_TITLES, names={}) is None


def test_the_break_even_stand_is_told_by_date_and_price():
    found = break_even_account(
        [BreakEven(date(2026, 5, 20), 16_780.0, False), BreakEven(date(2026, 6, 9), None, False)],
        [BreakEven(4.5, None, True)], now=(date(2026, 5, 20), 4.5), stand_unit="plants/ac",
        price_unit="USD/bu")
    assert found["now"]["date"]["value"] == "2026-05-20"
    assert found["now"]["price"] == {"value": 4.5, "unit": "USD/bu", "text": "USD 4.50/bu"}
    assert [[one["date"]["text"], one["stand"]["text"]] for one in found["by_date"]] == [
        ["2026-05-20", "16,800 plants/ac"], ["2026-06-09", "replanting gains at no stand"]]
    assert found["by_price"][0]["stand"] == {"text": "replanting gains at every stand"}
