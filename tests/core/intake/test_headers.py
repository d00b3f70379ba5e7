"""Headers: where they are, what they say, and the mapping that they suggest."""
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some

from plugin.core.intake.content_ids import content_ids
from plugin.core.intake.header import find_header, header_words, is_total
from plugin.core.intake.insertions import groups_of_rows
from plugin.core.intake.mapping import (
    ColumnUse,
    Mapping,
    Target,
    mapping_from_json,
    mapping_to_json,
)
from plugin.core.intake.photo_names import plain_photo_path
from plugin.core.intake.proposal import is_known_header, propose_mapping, words_for
from plugin.core.intake.text_table import encoding_of, separator_of
from plugin.core.intake.unit_words import known_units, unit_named
from plugin.core.problems import InputProblem
from plugin.core.units import convert, pressures_of_forces

PROFILE = [
    Target("x", "x", "x", words=words_for("compaction_readings", "x")),
    Target("stop", "int", "Stop", words=words_for("compaction_readings", "stop")),
    Target("compaction_profile.depth", "real", "Depth", "in",
           words=words_for("", "compaction_profile.depth")),
    Target("compaction_profile.resistance", "real", "Resistance", "psi", series=True,
           words=words_for("", "compaction_profile.resistance"))]


@pytest.mark.parametrize("text,words,units,number,number_unit", [
    ("Depth (cm)", "depth", ("cm",), None, ""), ("psi @ 6 in", "", ("psi",), 6, "in"),
    ("Resistance kPa", "resistance", ("kPa",), None, ""), ("PSI_6in", "", ("psi",), 6, "in"),
    ("10 cm (MPa)", "", ("MPa",), 10, "cm"), ("6\"", "", (), 6, "in"),
    ("Sample No.", "sample no", (), None, ""), ("Yield [bu/ac]", "yield", ("bu/ac",), None, ""),
    ("Row 4", "row", (), 4, ""), ("Lbs force (lbf)", "", ("lbf", "lbf"), None, ""),
    ("Length of row, m", "length of row", ("m",), None, ""),
    ("2,5 cm", "", (), 2.5, "cm"), ("Nitrate N", "nitrate n", (), None, "")])
def test_words_units_and_numbers_of_a_header(text, words, units, number, number_unit):
    found = header_words(text)
    assert (found.words, found.number, found.number_unit) == (words, number, number_unit)
    assert found.units == units or set(units) <= set(found.units)


def test_the_headers_of_a_wide_profile_become_one_series():
    mapping = propose_mapping(["Stop", "Lon", "psi @ 3 in", "psi @ 6 in", "Weather"], PROFILE)
    assert mapping.columns == (
        ColumnUse("Stop", "stop"), ColumnUse("Lon", "x"),
        ColumnUse("psi @ 3 in", "compaction_profile.resistance", "psi", 3, "in"),
        ColumnUse("psi @ 6 in", "compaction_profile.resistance", "psi", 6, "in"))


def test_a_unit_that_cannot_be_is_taken_for_none():
    mapping = propose_mapping(["Depth (psi)", "Resistance (cm)"], PROFILE)
    assert [(use.target, use.unit) for use in mapping.columns] == [
        ("compaction_profile.depth", ""), ("compaction_profile.resistance", "")]


def known(text):
    return is_known_header(text, PROFILE)


def test_a_header_is_found_below_titles_and_joined_with_its_units():
    rows = [(1, ["Penetrometer", ""]), (2, []), (3, ["Stop", "Depth"]), (4, ["", "(cm)"]),
            (5, ["1", "2"])]
    assert (find_header(rows, known).names, find_header(rows, known).last_row) == (
        ("Stop", "Depth (cm)"), 4)


def test_names_that_come_twice_or_not_at_all_get_their_letter():
    rows = [(1, ["Stop", "Depth", "Depth", "", "Resistance"]), (2, ["1", "2", "3", "4", "5"])]
    assert find_header(rows, known).names == ("Stop", "Depth", "Depth [C]", "column D",
                                              "Resistance")


@pytest.mark.parametrize("rows,row_number,words", [
    ([], 0, "holds no row"), ([(1, ["1", "2"])], 0, "no row with the names"),
    ([(1, ["Stop", "Depth"])], 7, "row 7 holds no header")])
def test_without_a_header_it_is_said(rows, row_number, words):
    with pytest.raises(InputProblem, match=words):
        find_header(rows, known, row_number)


@pytest.mark.parametrize("cells,total", [
    (["Total", "5"], True), (["", "Average:", "5"], True), (["Max", "1"], True),
    (["Maximilian", "1"], False), (["5", "Total"], False), ([], False), (["mean stand"], False)])
def test_lines_of_totals(cells, total):
    assert is_total(cells) is total


def test_rows_of_one_key_make_one_reading_until_a_depth_comes_again():
    assert groups_of_rows([(1,), (1,), (2,), (1,), (None,), (None,)],
                          [2, 4, 2, 2, 2, 4]).tolist() == [0, 0, 1, 2, 3, 4]
    assert groups_of_rows([(1,), (2,), (1,)]).tolist() == [0, 1, 0]


def test_ids_know_content_again_and_tell_twins_apart():
    columns = {"depth": np.array([2.0, 2.0, np.nan, -0.0]), "note": np.array(["a", "a", None, ""],
                                                                            object)}
    ids = content_ids("seed_depths", columns)
    assert len(set(ids)) == 4 and all(len(one) == 32 for one in ids)
    assert content_ids("seed_depths", dict(reversed(columns.items()))) == ids
    assert content_ids("probe_points", columns)[0] != ids[0]
    assert content_ids("seed_depths", {name: values[1:] for name, values in columns.items()}) == [
        ids[0], *ids[2:]]
    assert content_ids("seed_depths", {**columns, "depth": columns["depth"] + 0.0}) == ids


WORDS = some.text(some.sampled_from('aZ9 ()"\\/\u00b0\u6c34'), max_size=8)


@given(some.builds(Mapping, some.lists(some.builds(
    ColumnUse, WORDS, WORDS, some.sampled_from(["", "in", "psi"]),
    some.none() | some.floats(0, 99), some.sampled_from(["", "cm"]),
    some.sampled_from(["", "point", "comma"])), max_size=4).map(tuple)))
def test_a_mapping_survives_json(mapping):
    assert mapping_from_json(mapping_to_json(mapping)) == mapping


@pytest.mark.parametrize("text,words", [
    ("{", "no JSON"), ("[]", 'must hold "columns"'), ('{"columns": [1]}', 'needs a "header"'),
    ('{"columns": [], "colour": 1}', "'colour', which is not known"),
    ('{"columns": [{"header": "a", "target": "b", "at": "x"}]}', '"at" must be a number'),
    ('{"columns": [{"header": "a", "target": "b", "decimal": "dot"}]}', "point or comma"),
    ('{"columns": [], "cone_area": "big"}', '"cone_area" must be a number'),
    ('{"columns": [], "values": []}', '"values" must be an object')])
def test_a_mapping_that_is_none_is_refused_with_its_place(text, words):
    with pytest.raises(InputProblem, match=words):
        mapping_from_json(text)


@given(some.sampled_from(known_units()), some.floats(1e-6, 1e6))
def test_every_unit_that_is_known_by_words_can_be_converted_there_and_back(unit, value):
    assert unit_named(unit) == unit
    other = next((one for one in known_units() if one != unit and _alike(one, unit)), unit)
    there = convert(value, unit, other)
    assert convert(there, other, unit) == pytest.approx(value, rel=1e-12)


def _alike(one, other):
    try:
        convert(1.0, one, other)
    except InputProblem:
        return False
    return True


def test_forty_pounds_on_half_a_square_inch_are_eighty_psi():
    assert pressures_of_forces(40.0, "lbf", "psi", area=0.5, area_unit="in2") == pytest.approx(
        80.0, rel=1e-12)
    with pytest.raises(InputProblem, match="must be above 0"):
        pressures_of_forces(40.0, "lbf", "psi", area=0.0, area_unit="in2")


@pytest.mark.parametrize("content,encoding", [
    (b"a,b\n", "utf-8"), ("\u00e4".encode(), "utf-8"), ("\u00e4".encode()[:1], "utf-8"),
    ("n\u00e4he".encode("cp1252"), "cp1252"), (b"\x81\xe4", "latin-1"),
    ("\ufeffa".encode(), "utf-8-sig"), ("ab".encode("utf-16"), "utf-16"),
    ("a,b\n1,2\n".encode("utf-16-be"), "utf-16-be")])
def test_encodings(content, encoding):
    assert encoding_of([content]) == encoding


@pytest.mark.parametrize("lines,separator", [
    (["a,b\n", "1,2\n"], ","), (["a;b\n", "1,5;2\n", "2,5;3\n"], ";"), (["a\tb\n"], "\t"),
    (["title\n", "a|b\n"], "|"), (['"a;b",c\n', '"d;e",f\n'], ","), (["a\n"], ",")])
def test_separators(lines, separator):
    assert separator_of(lines) == separator


@pytest.mark.parametrize("name,path", [
    ("a.jpg", "a.jpg"), ("sub\\a.jpg", "sub/a.jpg"), (" a b.JPG ", "a b.JPG")])
def test_plain_names_of_photos_are_kept(name, path):
    assert plain_photo_path(name) == path


@pytest.mark.parametrize("name", ["../a.jpg", "/a.jpg", "C:a.jpg", "a\0.jpg", "a//b.jpg", "a|b",
                                  "\\\\host\\a.jpg", "http://a/b.jpg", "a/./b.jpg"])
def test_names_that_lead_elsewhere_are_refused(name):
    with pytest.raises(InputProblem, match="leads out|no name of a photo"):
        plain_photo_path(name)


@pytest.mark.parametrize(("header", "target"), [
    ("Stand (plants/ac)", "population"), ("Stand", "plants"), ("Row length (m)", "length"),
    ("plants/ha", "population")])
def test_a_unit_decides_between_plants_counted_and_plants_per_area(header, target):
    targets = [Target("population", "real", "Plants per area", "plants/ac",
                      words=words_for("stand_counts", "population")),
               Target("row_counts.length", "real", "Length", "ft",
                      words=words_for("row_counts", "row_counts.length")),
               Target("plants", "int", "Plants", words=words_for("stand_counts", "plants")),
               Target("length", "real", "Length", "ft", words=words_for("stand_counts", "length"))]
    use, = propose_mapping([header], targets).columns
    assert use.target == target
