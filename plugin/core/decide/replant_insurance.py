"""Crop insurance towards replanting: whether an appraisal qualifies, and what is paid."""
from dataclasses import dataclass

from ..problems import InputProblem
from .checks import require_number
from .data_table import read_data_table

TABLE = "replant_insurance_2008"


@dataclass(frozen=True)
class ReplantCover:
    """Guarantee and trigger in bu/ac, the shortfall below the trigger, and the payment per acre."""
    guarantee: float
    trigger: float
    shortfall: float
    payment: float
    source: str
    note: str


def replant_cover(crop, *, history_yield, coverage_level, price, appraised_yield):
    """Return what the insurance pays per acre towards replanting, before the agent has spoken.

    An appraisal just on the trigger does not qualify. The payment is the price times the lesser
    of the table's percent of the guarantee and its most bushels, but no more than the shortfall
    itself.

    Parameters
        crop             corn, soybean or sorghum
        history_yield    actual production history, bu/ac
        coverage_level   % of it that is insured
        price            currency per bushel
        appraised_yield  bu/ac that the damaged stand is judged to make
    Returns  ReplantCover
    Raises   InputProblem: the crop is not in the table, or a figure is missing or out of range
    Source   the head of the table file; holding the payment to the shortfall follows the 1998
             example, which names the shortfall before it applies the most bushels
    """
    table = read_data_table(TABLE)
    rules = {row[0]: [float(cell) for cell in row[1:4]] for row in table.rows}
    if crop not in rules:
        raise InputProblem(f"No replant payment is known for {crop}; known are "
                           f"{', '.join(rules)}.")
    require_number("history_yield", history_yield, "bu/ac", above=0)
    require_number("coverage_level", coverage_level, "%", above=0, at_most=100)
    require_number("price", price, "per bu", above=0)
    require_number("appraised_yield", appraised_yield, "bu/ac", at_least=0)
    trigger_percent, payment_percent, most_bushels = rules[crop]
    guarantee = history_yield * coverage_level / 100
    trigger = guarantee * trigger_percent / 100
    shortfall = max(0.0, trigger - appraised_yield)
    bushels = min(shortfall, guarantee * payment_percent / 100, most_bushels)
    return ReplantCover(guarantee=guarantee, trigger=trigger, shortfall=shortfall,
                        payment=price * bushels, source=table.head["source"],
                        note=table.head["note"])
