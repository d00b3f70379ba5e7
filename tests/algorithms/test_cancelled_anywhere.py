"""A cancel, whenever an algorithm looks for one, leaves no file, not even of several outputs.

Progress goes forward only, and to the end.
"""
import math

import pytest

from plugin.core import long_call
from tests.algorithms.small_calls import stops
from tests.algorithms.small_surfaces import write_by_hand
from tests.algorithms.test_observe import yield_call

MODEL = {"family": "exponential", "nugget": 1e6, "partial_sill": 4e6, "range_m": 60.0}


@pytest.fixture
def given(layer, field, calls, tmp_path):
    """The inputs of each algorithm; outputs are names of files."""
    readings = layer("Point", [(f"Point ({x} {y})", 10 + 3 * math.sin(number) + number % 5)
                               for number, (x, y) in enumerate(stops())],
                     fields="&field=value:double")
    stand = write_by_hand(tmp_path / "stand.tif", lambda x, y: 15_000 + 40 * (x % 200),
                          unit="plants/ac", error=1500.0, model=MODEL)
    bottom, chance = (write_by_hand(tmp_path / f"{name}.tif", value, unit=unit, error=0.1,
                                    name=name)
                      for name, value, unit in (("bottom", lambda x, y: 12.0, "in"),
                                                ("chance", lambda x, y: float(x % 200 > 90), "")))
    record = {"RECORD": calls("us")}
    return {
        "surface": {"INPUT": readings, "FIELD": "value", "BOUNDARY": field, "CELL": 10.0,
                    "SURFACE": "s.tif", "UNSURE": "u.gpkg", "DIAGNOSTICS": "s.json"},
        "chancemap": {"SURFACE": stand, "LIMIT": 2e4, "CHANCE": "c.tif"},
        "nextstops": {"SURFACE": stand, "LIMIT": 2e4, "LOSS": 0.1, "STOPS": "n.gpkg",
                      "GPX": "n.gpx"},
        "zonesbylimits": {"SURFACE": stand, "LIMITS": "18000; 21000", "BOUNDARY": field,
                          "MACHINE_WIDTH": 60.0, "SMALLEST_AREA": 0.2, "ZONES": "z.gpkg"},
        "replantplan": {**record, "STAND": stand, "PLAN": "p.gpkg", "ACCOUNT": "p.json"},
        "tillageplan": {**record, "BOTTOM": bottom, "CHANCE": chance, "PLAN": "p.gpkg",
                        "ACCOUNT": "p.json"},
        "standatstops": {**record, "OBSERVATIONS": "o.gpkg", "ACCOUNT": "o.json"},
        "panatinsertions": {**record, "OBSERVATIONS": "o.gpkg", "ACCOUNT": "o.json"},
        "cleanyield": {"RECORD": yield_call(tmp_path / "yields.gpkg"), "SEASON": 2025,
                       "CLEANED": "c.gpkg", "REMOVED": "r.gpkg", "ACCOUNT": "c.json"},
        "zonesbylikeness": {"LAYERS": [str(stand), str(chance)], "BOUNDARY": field, "COUNT": 2,
                            "STARTS": 2, "ZONES": "z.gpkg", "INDICES": "i.csv", "ACCOUNT": "z.json",
                            "MEMBERSHIPS": "m.tif", "CONFUSION": "c.tif"},
        "planstops": {"BOUNDARY": field, "COUNT": 6, "STOPS": "p.gpkg", "GPX": "p.gpx",
                      "SHEET": "p.pdf"},
        "checkrecord": {**record, "FLAGS": "f.gpkg", "ACCOUNT": "f.json"},
        "findings": {**record, "FINDINGS": "f.gpkg", "ACCOUNT": "f.json"}}


@pytest.fixture(autouse=True)
def looks_that_can_be_counted(monkeypatch):
    """Long calls are looked at once, however long they take here."""
    monkeypatch.setattr(long_call, "LOOK_S", 3600.0)


@pytest.mark.parametrize("algorithm", ["surface", "chancemap", "nextstops", "zonesbylimits",
                                       "replantplan", "tillageplan", "standatstops",
                                       "panatinsertions", "cleanyield", "zonesbylikeness",
                                       "planstops", "checkrecord", "findings"])
def test_a_cancel_at_any_look_leaves_no_file(run, given, out, algorithm):
    from qgis.core import QgsProcessingFeedback

    class Cancelling(QgsProcessingFeedback):
        """Cancelled from one look on; counts them."""

        def __init__(self, at):
            super().__init__()
            self.at, self.looks, self.told = at, 0, []
            self.progressChanged.connect(self.told.append)

        def isCanceled(self):
            self.looks += 1
            return self.looks > self.at

    parameters = {name: out / value if isinstance(value, str) and value[1:2] == "." else value
                  for name, value in given[algorithm].items()}
    never = Cancelling(math.inf)
    assert run(algorithm, never, **parameters)
    outputs = {path.name for path in out.iterdir()}
    assert outputs == {value for value in given[algorithm].values()
                       if isinstance(value, str) and value[1:2] == "."}
    for path in out.iterdir():
        path.unlink()
    assert never.looks >= 2
    assert never.told == sorted(never.told) and never.told[-1] == 100.0
    for at in sorted({0, 1, never.looks // 3, never.looks // 2, never.looks - 2, never.looks - 1}):
        assert run(algorithm, Cancelling(at), **parameters) == {}, at
        assert list(out.iterdir()) == [], at
