from types import SimpleNamespace

import pytest

from plugin.core.interpolate.verdict import UNTOLD, little_told, verdict_of_map, verdict_of_mean


def checked(skill):
    return SimpleNamespace(skill=skill, rmse=2.96, rmse_of_mean=3.04)


def test_a_map_of_some_skill_holds():
    assert verdict_of_map(checked(0.05), "in", 12) == (
        "The map holds: at readings left out to check it, it is off by 2.96 in as a rule, and "
        "the plain mean by 3.04 in.")


@pytest.mark.parametrize(("more", "said"), [
    (12, " If the ground has the faint pattern they hint at, 12 more in the gaps should show it "
         "clearly."),
    (None, " Even 4 times as many readings would hardly show a clear pattern."), (UNTOLD, "")])
def test_what_further_readings_would_tell_is_said_of_hints_and_means(more, said):
    assert verdict_of_map(checked(0.049), "", more) == (
        "The map is a hint, no more: at readings left out to check it, it is off by 2.96 as a "
        "rule, and the plain mean by 3.04. Ground without any pattern can give such a map." + said)
    for structured, why in ((True, "predicting a reading from its neighbours is no better than the "
                             "mean"), (False, "they do not show that near ones are more alike than "
                                       "far ones")):
        assert verdict_of_mean(30, 10, equal=False, structured=structured, more=more) == (
            f"The 30 readings do not support a map: {why}. Shown is the mean with its error."
            + said)


@pytest.mark.parametrize(("rmse", "of_mean", "said"), [
    (3100, 6800, "off by 3,100 u as a rule, and the plain mean by 6,800 u"),
    (3141, 3144, "off by 3,141 u as a rule, and the plain mean by 3,144 u"),
    (0.00123, 0.00456, "off by 0.0012 u as a rule, and the plain mean by 0.0046 u"),
    (1.00001, 1.00002, "off by 1 u as a rule, and the plain mean by 1 u")])
def test_errors_are_told_with_the_digits_that_tell_them_apart(rmse, of_mean, said):
    found = SimpleNamespace(skill=0.1, rmse=rmse, rmse_of_mean=of_mean)
    assert said in verdict_of_map(found, "u", UNTOLD)


def test_few_and_equal_readings_are_told():
    assert verdict_of_mean(9, 10, equal=False, structured=False, more=UNTOLD) == (
        "9 readings are too few for a map; from 10 on one is tried. Shown is the mean with its "
        "error.")
    assert verdict_of_mean(9, 10, equal=True, structured=False, more=UNTOLD) == (
        "All 9 readings are equal. Shown is their value with its error.")


def test_a_map_that_says_little_of_most_of_the_field_says_so():
    assert little_told(0.499) == ""
    assert little_told(0.91) == (
        " Yet over 91 % of the field, hatched on maps, it says little more than the mean.")
