"""Each cause is found where it is true, none where nothing is, and all told as not looked at."""
from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from scipy.stats import binom

from bench.findings import TRUE as THINNED
from bench.findings import quiet_walk, row_counts, thinner
from plugin.core.decide.findings.findings import (
    CONSISTENT,
    HINT,
    NOT_LOOKED_AT,
    NOT_SHOWN,
    SEEN,
    findings,
    holm,
)
from plugin.core.decide.findings.walk import Notes, Spots, Walk, WithinStops
from plugin.core.problems import Stopped

CAUSES = ("row_unit", "seed_depth", "compaction", "crust_or_wet", "nitrogen", "ph", "insects",
          "disease", "traffic")
WALKS = 100


def with_low_row(walk):
    return replace(walk, rows=row_counts(np.random.default_rng(1), faulty=3))


def with_deep_seeds_failing(walk):
    seeds = walk.seeds
    return replace(walk, seeds=WithinStops(seeds.stops, seeds.values > 2.15, seeds.values))


def hard_tracks(walk):
    tracks = walk.tracks
    return replace(walk, tracks=WithinStops(tracks.stops, tracks.kinds,
                                            tracks.values + 150.0 * tracks.kinds))


# Half or more of what the stand varies is the cause's.
TRUE = {"row_unit": with_low_row, "seed_depth": with_deep_seeds_failing,
        **{cause: partial(made, by=4.0 if cause in ("insects", "disease") else 2.0)
           for cause, made in THINNED.items()}}


@pytest.mark.parametrize("cause", CAUSES)
def test_the_cause_that_is_true_is_found_and_no_other_is_claimed(cause):
    found, others = 0, 0
    for seed in range(6):
        causes = findings(TRUE[cause](quiet_walk(seed, rows=cause == "row_unit"))).of(CONSISTENT)
        found += cause in [one.cause for one in causes]
        others += sum(one.cause != cause for one in causes)
    # Six of each: a strong cause may once hide in the patches; one other of 54 by chance.
    assert found >= 5 and others <= 1


def test_hard_ground_in_wheel_tracks_is_found():
    one = findings(hard_tracks(quiet_walk(3, rows=False))).causes[-1]
    assert one.verdict == CONSISTENT and "in wheel tracks" in one.favour[0]


@pytest.fixture(scope="module")
def of_quiet_walks():
    return [findings(quiet_walk(100 + number, rows=False)) for number in range(WALKS)]


def test_a_record_in_which_nothing_is_true_claims_a_cause_in_one_of_twenty_at_most(of_quiet_walks):
    wrong = sum(bool(one.of(CONSISTENT)) for one in of_quiet_walks)
    # 5 % of the walks, and what chance adds to that in 999 of 1000 such runs.
    assert wrong <= binom.ppf(0.999, WALKS, 0.05)


@pytest.mark.parametrize("cause", CAUSES[1:])
def test_each_test_by_itself_keeps_its_level(of_quiet_walks, cause):
    tests = [one for found in of_quiet_walks for one in found.causes
             if one.cause == cause and one.p is not None]
    wrong = sum(one.verdict in (CONSISTENT, HINT) for one in tests)
    # Up to two tests a cause, each right in its direction in half of its 5 %: 5 % a cause. Some
    # walks have no note, or no thin stop.
    assert len(tests) > 0.8 * WALKS and wrong <= binom.ppf(0.999, len(tests), 0.05)


def test_an_empty_walk_was_looked_at_for_nothing_and_says_what_to_do():
    found = findings(Walk(lacks={"ph": "probe_points holds no pH. Enter it."}))
    assert [one.cause for one in found.causes] == list(CAUSES) and found.tests == 0
    for one in found.causes:
        assert one.verdict == NOT_LOOKED_AT and one.strength == "Not looked at."
        assert one.not_looked_at and one.next_step and not (one.favour or one.against)
        assert one.p is None and one.adjusted_p is None
    assert found.causes[5].not_looked_at == ("probe_points holds no pH. Enter it.",)


def test_readings_without_a_stand_are_told_and_not_tested():
    walk = quiet_walk(5, rows=False)
    bare = replace(walk, stand=Spots.of(), at_row_end=np.zeros(0, bool),
                   lacks={"stand_counts": "stand_counts holds no reading."})
    found = findings(bare)
    told = {one.cause: one for one in found.causes}
    assert found.tests == 2  # seeds that failed, and wheel tracks: both within their stops
    assert told["nitrogen"].verdict == SEEN and any(
        "stand_counts holds no reading." in words for words in told["nitrogen"].not_looked_at)
    assert told["insects"].verdict == SEEN


def test_too_few_readings_near_the_stops_are_told_and_not_tested():
    walk = quiet_walk(5, rows=False)
    few = replace(walk, nitrate=Spots(walk.nitrate.positions_m[:7], np.full(7, 30.0)))
    nitrogen = findings(few).causes[4]
    assert nitrogen.verdict == NOT_SHOWN and nitrogen.p is None
    assert "known near 7 of 49 stops of the stand; at least 8" in nitrogen.not_looked_at[0]
    far = replace(few, nitrate=Spots(walk.nitrate.positions_m + 5000.0, walk.nitrate.values))
    assert "near 0 of 49" in findings(far).causes[4].not_looked_at[0]


def test_a_link_the_other_way_round_speaks_against_the_cause():
    walk = quiet_walk(2, rows=False)
    nitrogen = findings(thinner(walk, walk.nitrate.values, 2.0)).causes[4]
    assert nitrogen.verdict in (SEEN, NOT_SHOWN) and nitrogen.p < 0.05
    assert nitrogen.against[0].startswith("The other way round: the stand is higher where nitrate")
    assert "the clearest effect goes the other way" in nitrogen.strength


def test_what_has_no_interval_says_so():
    seeds = WithinStops(np.zeros(8, int), np.arange(8) < 4, np.linspace(1.0, 3.0, 8))
    one = findings(Walk(crop="corn", seeds=seeds, seed_depths=Spots(np.zeros((8, 2)),
                                                                    seeds.values))).causes[1]
    assert "at the same stop, over 1 stop (90 % interval not known)" in " ".join(one.against)


def test_a_field_where_nothing_stands_inside_is_not_set_against_its_headland():
    walk = quiet_walk(1, rows=False)
    bare = replace(walk, stand=Spots(walk.stand.positions_m, walk.at_row_end * 20.0))
    assert "No plant stands inside" in " ".join(findings(bare).causes[-1].not_looked_at)


def test_stops_counted_twice_at_one_place_still_have_neighbours():
    walk = quiet_walk(6, rows=False)
    twice = replace(walk, stand=Spots(np.repeat(walk.stand.positions_m, 2, axis=0),
                                      np.repeat(walk.stand.values, 2)),
                    at_row_end=np.repeat(walk.at_row_end, 2))
    assert findings(twice).causes[4].p is not None


def test_stops_without_any_note_are_told_as_perhaps_not_searched():
    walk = quiet_walk(4, rows=False)
    few = replace(walk, notes=Notes(walk.notes.positions_m[:12], ("insect",) * 12,
                                    np.arange(12) < 4))
    insects = findings(few).causes[6]
    assert any(said.startswith("37 of 49 stops have no note at all")
               for said in insects.not_looked_at)
    assert not any("no note at all" in said for said in findings(walk).causes[6].not_looked_at)


def test_notes_that_say_there_is_none_speak_against_it():
    walk = quiet_walk(4, rows=False)
    clean = replace(walk, notes=Notes(walk.notes.positions_m, walk.notes.subjects,
                                      np.zeros(len(walk.notes), bool)))
    insects = findings(clean).causes[6]
    assert insects.verdict == NOT_SHOWN
    assert insects.against == ("Insects noted in 0 of 49 notes on the subject.",)


def test_rows_counted_in_sets_are_compared_within_each_and_the_rest_is_told():
    rows = row_counts(np.random.default_rng(1), faulty=3)
    apart = replace(rows, stops=rows.stops + 100 * (rows.units > 4))
    unit = findings(Walk(rows=apart)).causes[0]
    assert unit.verdict == CONSISTENT and "Row unit 3 stands" in unit.favour[0]
    assert "units 1, 2, 3, 4 at 20 stops" in unit.favour[0]
    assert any("2 sets that share no stop" in words for words in unit.not_looked_at)


def test_no_sentence_says_that_anything_caused_it():
    for cause in CAUSES:
        for one in findings(TRUE[cause](quiet_walk(1))).causes:
            words = " ".join((one.strength, *one.favour, *one.against)).lower()
            assert "cause" not in words and "because" not in words and "due to" not in words
            if one.verdict == CONSISTENT:
                assert "consistent with" in one.strength


def test_holms_adjustment_as_worked_by_hand():
    # Sorted .01 .02 .03 .04 times 4 3 2 1: .04 .06 .06 .04, and none below the one before.
    assert holm([0.04, 0.01, 0.03, 0.02]) == pytest.approx([0.06, 0.04, 0.06, 0.06])
    assert holm([0.9, 0.8]) == pytest.approx([1.0, 1.0]) and len(holm([])) == 0


def test_progress_rises_to_the_end_and_a_cancel_comes_through():
    done = []
    findings(quiet_walk(1), tick=done.append)
    assert done == sorted(done) and done[-1] == 1.0 and len(done) > 10

    def stop(fraction):
        if fraction > 0.55:
            raise Stopped
    with pytest.raises(Stopped):
        findings(quiet_walk(1), tick=stop)
