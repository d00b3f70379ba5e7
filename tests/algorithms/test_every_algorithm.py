"""What holds for every algorithm of the provider."""
import re

import pytest

from plugin.algorithms.provider import IDS

# Ids, groups and parameters are the public interface: models and scripts of users rest on them.
GROUPS = {
    "newrecord": "record", "placereadings": "record", "checkrecord": "record",
    "planstops": "record", "standatstops": "observe", "panatinsertions": "observe",
    "cleanyield": "observe", "rowunittest": "observe", "soilatprobes": "observe",
    "scouting": "observe", "surface": "interpolate", "chancemap": "interpolate",
    "zonesbylimits": "zone", "zonesbylikeness": "zone",
    "replantplan": "decide", "tillageplan": "decide", "findings": "decide",
    "ratefile": "handover", "growerreport": "handover", "fieldcall": "handover",
    "nextstops": "interpolate", "importreadings": "record", "sidedressplan": "decide",
    "limeplan": "decide"}
PARAMETERS = {
    "placereadings": "RECORD INPUT ROW_FIELD DISTANCE_FIELD START SECOND HEADING FIRST_ROW "
                     "ROWS_GROW DISTANCE_UNIT PACE KNOWN_DISTANCE PACES PACE_ERROR POINT_ERROR "
                     "HEADING_ERROR ROW_ERROR VALUE_FIELD PLACED",
    "checkrecord": "RECORD FLAGS ACCOUNT",
    "planstops": "BOUNDARY DESIGN COUNT PRECISION CV CONFIDENCE EARLIER QUANTITY COVARIATES "
                 "STRATA ALLOCATION HEADLAND KEEP_OUT START BACK SEED TITLE UNITS READINGS PAGE "
                 "STOPS GPX SHEET",
    "standatstops": "RECORD OBSERVATIONS ACCOUNT",
    "panatinsertions": "RECORD LIMIT REACH UNITS_CHECKED OBSERVATIONS ACCOUNT",
    "cleanyield": "RECORD SEASON CLEANED REMOVED ACCOUNT",
    "rowunittest": "RECORD ROW_UNITS ACCOUNT",
    "soilatprobes": "RECORD RESULT OBSERVATIONS ACCOUNT",
    "scouting": "RECORD ACCOUNT",
    "surface": "INPUT FIELD ERROR_FIELD CENSOR_FIELD BOUNDARY CELL METHOD MODEL CANDIDATES "
               "NEIGHBOURS OCTANTS SUPPORT DRIFT COVARIATES HEADING REFIT TITLE UNIT SURFACE "
               "DIAGNOSTICS FIGURES UNSURE",
    "chancemap": "SURFACE LIMIT SIDE CHANCE",
    "zonesbylimits": "SURFACE DIVISION LIMITS CLASSES BOUNDARY MACHINE_WIDTH HEADING "
                     "SMALLEST_AREA SMALLEST_WIDTH SMALLEST_LENGTH HEADLAND DEVIATION ORDERED "
                     "NEIGHBOUR_CHANCE ZONES UNSURE",
    "zonesbylikeness": "LAYERS GRID BOUNDARY COUNT MOST GATHERING FUZZIFIER SMOOTHING STARTS SEED "
                       "MACHINE_WIDTH HEADING SMALLEST_AREA SMALLEST_WIDTH SMALLEST_LENGTH "
                       "HEADLAND DEVIATION ZONES INDICES ACCOUNT MEMBERSHIPS CONFUSION",
    "replantplan": "RECORD STAND TABLE OWN_TABLE OUTER_DATES CHANCE_KEEP CHANCE_REPLANT PLAN "
                   "ACCOUNT CELL_GAIN",
    "tillageplan": "RECORD BOTTOM CHANCE CHANCE_LIMIT PLAN ACCOUNT",
    "ratefile": "PLAN FORMAT FILE RATE_FIELD RATE_UNIT CONTROLLER_UNIT CONTENT DENSITY LEAST "
                "GREATEST VERSION "
                "OUTSIDE_RATE LOST_RATE CELL MOST_CELLS FIELD_NAME FARM CUSTOMER WORK_ORDER PAGE",
    "sidedressplan": "RECORD NITRATE RULE PLAN ACCOUNT",
    "limeplan": "RECORD PH BUFFER_PH METHOD OUTSIDE QUALITY PASSING_20 PASSING_60 PASSING_100 "
                "CARBONATE_EQUIVALENT EFFECTIVE_POUNDS PLAN ACCOUNT",
    "findings": "RECORD HEADLAND_WIDTH UNITS_CHECKED FINDINGS ACCOUNT",
    "growerreport": "SUMMARY FOLDER RECORD PAGE PDF",
    "fieldcall": "RECORD OUTPUT_FOLDER PAGE CELL REPLACE DRIFT COVARIATES UNITS_CHECKED",
    "nextstops": "SURFACE DECISION LIMIT LOSS AREA_UNIT RECORD TABLE OWN_TABLE OUTER_DATES COUNT "
                 "ERROR COST DISTANCE BOUNDARY STOPS GPX",
    "importreadings": "RECORD SOURCE KIND SHEET MAPPING SOURCE_CRS PHOTOS AXES ANGLES DECIMAL "
                      "DATE_ORDER UTC_OFFSET HEADER_ROW SAVE_AS ASIDE"}
UNIT = re.compile(r"\b(in|cm|metres?|ft|psi|kPa|ac|acre|ha|hectares?|mph|hp|gal|unit|0 to 1|"
                  r"shanks?|Year|readings|%|percent|"
                  r"degrees?|USD|seeds?|harvest|planter|\d{4})\b", re.IGNORECASE)


@pytest.fixture(scope="module")
def algorithms(provider):
    return {algorithm.name(): algorithm for algorithm in provider.algorithms()}


def test_algorithms_keep_their_ids_and_groups(algorithms):
    found = {name: one.groupId() for name, one in algorithms.items()}
    assert found.items() >= GROUPS.items()
    assert set(found.values()) == set(GROUPS.values()) and set(found) == set(IDS)
    for algorithm in algorithms.values():
        assert algorithm.group() and algorithm.group() != algorithm.groupId()
        assert re.fullmatch("[a-z0-9]+", algorithm.name())
        assert algorithm.displayName() and len(algorithm.shortHelpString()) > 80


def test_parameters_keep_their_names_and_order(algorithms):
    for name, expected in PARAMETERS.items():
        assert " ".join(definition.name() for definition in
                        algorithms[name].parameterDefinitions()) == expected


def test_every_parameter_has_help_and_a_number_names_its_unit(algorithms):
    numbers = 0
    for algorithm in algorithms.values():
        for definition in algorithm.parameterDefinitions():
            where = f"{algorithm.name()}, {definition.name()}"
            assert definition.help().strip().endswith("."), where
            assert definition.description().strip(), where
            if definition.type() == "number":
                numbers += 1
                assert UNIT.search(definition.help()), f"{where}: {definition.help()}"
    assert numbers > 30


def test_one_name_means_one_thing_everywhere(algorithms):
    kinds = {}
    for algorithm in algorithms.values():
        for definition in algorithm.parameterDefinitions():
            # RECORD is read by all but newrecord, which makes it; SURFACE is made by surface.
            if definition.isDestination():
                continue
            kinds.setdefault(definition.name(), set()).add(definition.type())
    assert {name for name, types in kinds.items() if len(types) > 1} == set()


def test_every_algorithm_makes_a_fresh_instance_of_itself(algorithms):
    for algorithm in algorithms.values():
        again = algorithm.create()
        assert type(again) is type(algorithm) and again is not algorithm
        assert [one.name() for one in again.outputDefinitions()] == [
            one.name() for one in algorithm.outputDefinitions()]


def test_without_its_parameters_every_algorithm_refuses_and_names_one(algorithms, provider):
    from qgis.core import QgsProcessingContext
    for algorithm in algorithms.values():
        sound, words = algorithm.checkParameterValues({}, QgsProcessingContext())
        assert not sound and words, algorithm.name()
