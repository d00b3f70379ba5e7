import json
import os
import signal
import sqlite3
import subprocess
import sys
from contextlib import closing

import pytest

from plugin.core.problems import InputProblem
from plugin.layers.whole_folder import UNFINISHED, refuse_folder, whole_folder


def names(folder):
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*"))


def results(folder, program="Spadework"):
    folder.mkdir()
    (folder / "summary.json").write_text(json.dumps({"made": {"program": program}}))
    return folder


def test_the_folder_appears_whole_and_replaces_what_was_there(tmp_path):
    (results(tmp_path / "call") / "old.txt").write_text("old")
    with whole_folder(tmp_path / "call") as work:
        (work / "new.txt").write_text("new")
        assert names(tmp_path / "call") == ["old.txt", "summary.json"]
    assert names(tmp_path) == ["call", "call/new.txt"]


@pytest.mark.parametrize("error", [ValueError, KeyboardInterrupt])
def test_after_an_exception_what_was_there_stays_and_nothing_is_beside_it(tmp_path, error):
    results(tmp_path / "call")
    with pytest.raises(error):
        with whole_folder(tmp_path / "call") as work:
            (work / "half.txt").write_text("half")
            raise error
    assert names(tmp_path) == ["call", "call/summary.json"]


def killed(tmp_path, child):
    """Run a child that announces itself, then kill it with no chance to tidy up."""
    process = subprocess.Popen([sys.executable, "-c", child], stdout=subprocess.PIPE, text=True,
                               env={**os.environ, "PYTHONPATH": os.getcwd()})
    assert process.stdout.readline() == "ready\n"
    os.kill(process.pid, signal.SIGKILL)
    assert process.wait(timeout=20) == -signal.SIGKILL


def test_what_a_killed_run_left_is_cleared_by_the_next(tmp_path):
    killed(tmp_path, f'''
import sys, time
from plugin.layers.whole_folder import whole_folder
with whole_folder({str(tmp_path / "call")!r}) as work:
    (work / "half.txt").write_text("half")
    print("ready", flush=True)
    time.sleep(60)
''')
    assert names(tmp_path) == [f"call{UNFINISHED}", f"call{UNFINISHED}/half.txt"]
    assert refuse_folder(tmp_path / "call", replace=False) == ""
    with whole_folder(tmp_path / "call") as work:
        assert names(work) == []
        (work / "summary.json").write_text("{}")
    assert names(tmp_path) == ["call", "call/summary.json"]


def test_a_run_killed_while_it_puts_its_folder_in_place_loses_neither(tmp_path):
    results(tmp_path / "call")
    killed(tmp_path, f'''
import os, time
from plugin.layers import whole_folder
replace = os.replace
def slow(source, target):
    if not str(source).endswith("call"):  # the second move: the old one is out of the way by now
        print("ready", flush=True)
        time.sleep(60)
    replace(source, target)
whole_folder.os.replace = slow
with whole_folder.whole_folder({str(tmp_path / "call")!r}) as work:
    (work / "new.txt").write_text("new")
''')
    assert not (tmp_path / "call").exists()
    # The next run fails too: the results of before both are back in their place.
    with pytest.raises(ValueError):
        with whole_folder(tmp_path / "call"):
            raise ValueError
    assert names(tmp_path) == ["call", "call/summary.json"]


def test_a_folder_that_cannot_be_made_is_refused_in_words(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(InputProblem, match="file cannot be written to: "):
        with whole_folder(tmp_path / "file" / "call"):
            pass


def test_a_folder_that_is_not_there_or_empty_can_be_written_to(tmp_path):
    (tmp_path / "empty").mkdir()
    for name in ("new", "empty"):
        assert refuse_folder(tmp_path / name, replace=False) == ""
    with whole_folder(tmp_path / "empty") as work:
        (work / "a").write_text("")
    assert names(tmp_path) == ["empty", "empty/a"]


def test_what_is_no_folder_of_results_is_never_given_up(tmp_path):
    (tmp_path / "file").write_text("mine")
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "photo.jpg").write_text("mine")
    results(tmp_path / "other", program="Another")
    (tmp_path / "broken").mkdir()
    (tmp_path / "broken" / "summary.json").write_text("no JSON")
    for replace in (False, True):
        assert "is a file. Give the name of a folder" in refuse_folder(
            tmp_path / "file", replace=replace)
        assert "There is no folder" in refuse_folder(tmp_path / "no" / "way", replace=replace)
        for name in ("mine", "other", "broken"):
            assert "holds files that are no results of a field call" in refuse_folder(
                tmp_path / name, replace=replace)


@pytest.mark.parametrize("replace", [True, False])
def test_results_among_which_a_record_lies_are_never_given_up(tmp_path, replace):
    (tmp_path / "summary.json").write_text(json.dumps({"made": {"program": "Spadework"}}))
    (tmp_path / "mine").mkdir()
    with closing(sqlite3.connect(tmp_path / "mine" / "call.gpkg")) as database:
        for table in ("field", "stand_counts", "compaction_profile"):
            database.execute(f"CREATE TABLE {table} (a)")
    assert "holds a field record (call.gpkg)" in refuse_folder(tmp_path, replace=replace)
    (tmp_path / "mine" / "call.gpkg").unlink()
    assert bool(refuse_folder(tmp_path, replace=replace)) is not replace


def test_earlier_results_are_given_up_only_when_asked(tmp_path):
    folder = results(tmp_path / "call")
    assert "holds the results of an earlier field call. Choose another folder, or" in \
        refuse_folder(folder, replace=False)
    assert refuse_folder(folder, replace=True) == ""


def test_two_runs_leave_the_second_ones_files(tmp_path):
    for number in range(2):
        with whole_folder(tmp_path / "call") as work:
            (work / f"{number}.txt").write_text("")
    assert names(tmp_path) == ["call", "call/1.txt"]
