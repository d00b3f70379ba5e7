"""Broken files are refused, or their bad row set aside, in words a user can act on."""
import pytest

from plugin.core.problems import InputProblem
from plugin.record.intake.importing import import_readings
from tests.record.intake.broken_files import BROKEN
from tests.record.intake.conftest import rows_of, sha

REFUSED = [one for one in BROKEN if one.row is None]
SET_ASIDE = [one for one in BROKEN if one.row is not None]


def test_there_are_sixty_of_them_and_more():
    assert len({broken.name for broken in BROKEN}) == len(BROKEN) >= 60


@pytest.mark.parametrize("broken", REFUSED, ids=lambda broken: broken.name)
def test_a_refusal_says_why_and_leaves_the_record_as_it_was(broken, empty, tmp_path):
    record, source = empty(), broken.write(tmp_path)
    before, files = sha(record), sorted(tmp_path.rglob("*"))
    with pytest.raises(InputProblem) as caught:
        import_readings(record, source, broken.wished())
    assert broken.words in str(caught.value)
    assert broken.file in str(caught.value) or "mapping" in str(caught.value).lower()
    assert len(str(caught.value)) < 600
    assert sha(record) == before
    assert sorted(tmp_path.rglob("*")) == files


@pytest.mark.parametrize("broken", SET_ASIDE, ids=lambda broken: broken.name)
def test_the_bad_row_alone_is_set_aside_with_why(broken, empty, tmp_path):
    record, source = empty(), broken.write(tmp_path)
    done = import_readings(record, source, broken.wished())
    one, = done.set_aside
    assert one.row == broken.row and broken.words in one.reason
    assert done.rows == 2 and done.imported == 1
    assert rows_of(record, "SELECT stop FROM stand_counts UNION ALL SELECT stop FROM seed_depths "
                           "UNION ALL SELECT stop FROM compaction_readings") == [(9,)]
    assert rows_of(record, "PRAGMA integrity_check") == [("ok",)]
