"""Findings in figures and words."""
from dataclasses import replace

import pytest

from plugin.core.decide.findings.findings import findings
from plugin.core.decide.findings.walk import Walk
from plugin.core.deliver.findings_account import ADJUSTED, NO_PROOF, TOGETHER, findings_account


def account_of(**verdicts):
    """The account of an empty walk, the verdicts of some causes changed."""
    empty = findings(Walk())
    return findings_account(replace(empty, tests=len(verdicts), causes=tuple(
        replace(one, verdict=verdicts.get(one.cause, one.verdict)) for one in empty.causes)),
        ("twice", "twice"))


@pytest.mark.parametrize("verdicts,headline", [
    ({}, "Nothing could be tested: too little was looked at."),
    ({"ph": "not shown"}, "No test points to any cause."),
    ({"ph": "hint"}, "A hint of: soil pH."),
    ({"ph": "hint", "insects": "consistent", "row_unit": "consistent"},
     "The readings are consistent with: planter row unit, insects. A hint of: soil pH.")])
def test_the_headline_names_what_is_pointed_to_and_nothing_else(verdicts, headline):
    assert account_of(**verdicts)["headline"] == headline


def test_it_always_says_that_nothing_is_proved_and_more_where_there_is_more():
    assert account_of()["said"] == [NO_PROOF] and account_of()["warnings"] == ["twice"]
    one, two = account_of(ph="hint")["said"], account_of(ph="hint", disease="consistent")["said"]
    assert ADJUSTED in one and TOGETHER not in one and TOGETHER in two
