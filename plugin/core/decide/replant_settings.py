"""What a replant decision rests on besides the stand: dates, yield, prices and costs."""
from dataclasses import dataclass
from datetime import date

from ..problems import InputProblem
from .checks import require_number

FEWEST_PER_AREA = 1000  # plants or seeds; less is a count of 1/1000 area entered by mistake


@dataclass(frozen=True)
class ReplantSettings:
    """Settings of a replant decision, named and measured as the field record does.

    Areas are acres or hectares by `area_unit`, grain is measured in `grain_unit` (bu or t), money
    in `currency`, which is a word alone: nothing is converted. Costs are entered in full, 0 where
    there is none; an empty one is refused rather than taken for nothing.

    planting_date, replant_date          datetime.date
    expected_yield                       grain per area of a full stand planted at its best time
    crop_price                           currency per grain unit
    target_stand, expected_emergence     plants per area to stand after replanting; % of the seeds
    seed_unit_cost, seeds_per_unit       currency per unit of seed; seeds in it
    seed_rebate                          % of the seed cost that is given back
    termination_cost, replanting_cost, extra_nitrogen_cost, extra_weed_cost, other_replant_cost,
    insurance_payment                    currency per area
    moisture_kept, moisture_replanted, base_moisture   % grain moisture at harvest; undried limit
    drying_cost                          currency per point of moisture per grain unit
    unevenness_loss                      points of percent yield off the kept stand
    replant_loss                         % off the yield of the replanted crop
    crop                                 when given, must be the yield table's
    """
    planting_date: date
    replant_date: date
    expected_yield: float
    crop_price: float
    currency: str
    target_stand: float
    expected_emergence: float
    seed_unit_cost: float
    termination_cost: float
    replanting_cost: float
    area_unit: str = "ac"
    grain_unit: str = "bu"
    seeds_per_unit: float = 80_000
    seed_rebate: float = 0.0
    extra_nitrogen_cost: float = 0.0
    extra_weed_cost: float = 0.0
    other_replant_cost: float = 0.0
    insurance_payment: float = 0.0
    moisture_kept: float = 0.0
    moisture_replanted: float = 0.0
    base_moisture: float = 0.0
    drying_cost: float = 0.0
    unevenness_loss: float = 0.0
    replant_loss: float = 0.0
    crop: str = ""

    def __post_init__(self):
        self._check_dates()
        for name, (value, unit) in self.numbers().items():
            require_number(name, value, unit, **_RANGES[name])
        for name in ("target_stand", "seeds_per_unit"):
            value, unit = self.numbers()[name]
            if value < FEWEST_PER_AREA:
                raise InputProblem(f"{name} is {value:,g} {unit}, which looks like a count or a "
                                   f"figure in thousands. Enter it in full, such as "
                                   f"{value * 1000:,g}.")

    def _check_dates(self):
        for name in ("planting_date", "replant_date"):
            if not isinstance(getattr(self, name), date):
                raise InputProblem(f"{name} is empty. Enter the day, month and year.")
        if self.replant_date <= self.planting_date:
            raise InputProblem(f"replant_date ({self.replant_date}) is not after planting_date "
                               f"({self.planting_date}). Enter the day the field could be "
                               "replanted.")
        if self.replant_date.year != self.planting_date.year:
            raise InputProblem(f"replant_date ({self.replant_date}) is in another year than "
                               f"planting_date ({self.planting_date}).")

    def numbers(self):
        """Return every number among the settings, name -> (value, unit)."""
        per_area, area = f"{self.currency}/{self.area_unit}", self.area_unit
        units = {
            "expected_yield": f"{self.grain_unit}/{area}",
            "crop_price": f"{self.currency}/{self.grain_unit}",
            "target_stand": f"plants/{area}", "expected_emergence": "%",
            "seed_unit_cost": f"{self.currency}/seed unit", "seeds_per_unit": "seeds/seed unit",
            "seed_rebate": "%", "termination_cost": per_area, "replanting_cost": per_area,
            "extra_nitrogen_cost": per_area, "extra_weed_cost": per_area,
            "other_replant_cost": per_area, "insurance_payment": per_area, "moisture_kept": "%",
            "moisture_replanted": "%", "base_moisture": "%",
            "drying_cost": f"{self.currency}/point/{self.grain_unit}",
            "unevenness_loss": "points of yield percent", "replant_loss": "%"}
        return {name: (getattr(self, name), unit) for name, unit in units.items()}

    @property
    def seeds_per_area(self):
        """Seeds to plant per area for the target stand."""
        return self.target_stand / (self.expected_emergence / 100)

    @property
    def seed_cost_per_area(self):
        """Cost of that seed per area, after the rebate."""
        return (self.seeds_per_area / self.seeds_per_unit * self.seed_unit_cost
                * (1 - self.seed_rebate / 100))

    @property
    def fixed_cost_per_area(self):
        """Cost of replanting per area without drying: it does not depend on the present stand."""
        return (self.seed_cost_per_area + self.termination_cost + self.replanting_cost
                + self.extra_nitrogen_cost + self.extra_weed_cost + self.other_replant_cost)


_NOT_NEGATIVE, _POSITIVE = {"at_least": 0}, {"above": 0}
_PERCENT, _MOISTURE = {"at_least": 0, "at_most": 100}, {"at_least": 0, "at_most": 60}
_RANGES = {
    "expected_yield": _POSITIVE, "crop_price": _POSITIVE, "target_stand": _POSITIVE,
    "expected_emergence": {"above": 0, "at_most": 100}, "seed_unit_cost": _NOT_NEGATIVE,
    "seeds_per_unit": _POSITIVE, "seed_rebate": _PERCENT, "termination_cost": _NOT_NEGATIVE,
    "replanting_cost": _NOT_NEGATIVE, "extra_nitrogen_cost": _NOT_NEGATIVE,
    "extra_weed_cost": _NOT_NEGATIVE, "other_replant_cost": _NOT_NEGATIVE,
    "insurance_payment": _NOT_NEGATIVE, "moisture_kept": _MOISTURE,
    "moisture_replanted": _MOISTURE, "base_moisture": _MOISTURE, "drying_cost": _NOT_NEGATIVE,
    "unevenness_loss": _PERCENT, "replant_loss": _PERCENT}
