"""What the readings point to, as the reader of the report gets it."""
import numpy as np
import pytest

from bench.findings import row_counts
from plugin.core.decide.findings.findings import findings
from plugin.core.decide.findings.walk import Walk
from plugin.core.deliver.findings_account import findings_account
from tests.report.field_call_folder import summary
from tests.report.pdf_reading import squeezed, words_of


@pytest.fixture(scope="module")
def account():
    """One row unit is low; nothing else was looked at."""
    return findings_account(findings(Walk(rows=row_counts(np.random.default_rng(1), faulty=3))))


def test_the_cause_pointed_to_is_printed_in_full_and_what_is_unseen_named(printed, account):
    words = squeezed(words_of(printed({**summary(), "findings": account}), "-layout"))
    unit, *others = account["causes"]
    wanted = ["What the readings point to", account["headline"], *account["said"],
              *(f"For: {said}" for said in unit["for"]), f"Next: {unit['next_step']}",
              *(one["title"] for one in others),
              *(said for one in account["causes"] for said in one["not_looked_at"]),
              "Insects, Disease: There is no scouting note on it"]
    assert [text for text in wanted if squeezed(text) not in words] == []


def test_what_is_unseen_of_several_causes_is_said_once_of_all(printed, account):
    causes = [{**one, "not_looked_at": ["Nobody went there."]} for one in account["causes"][:3]]
    words = squeezed(words_of(printed({**summary(), "findings": {**account, "causes": causes}}),
                              "-layout"))
    assert squeezed("Planter row unit, Seed depth, Compaction: Nobody went there.") in words
    assert words.count(squeezed("Nobody went there.")) == 1


def test_a_summary_without_findings_prints_no_such_section(printed):
    assert "What the readings point to" not in words_of(printed(summary()))
