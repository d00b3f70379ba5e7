"""A run in the background ends in exactly one way, and says which."""
import pytest

from plugin.gui.field_call_task import FieldCallTask


def started(algorithm, parameters=None):
    """Return a started run and the list in which its signals are noted."""
    run, heard = FieldCallTask(algorithm, parameters or {}), []
    run.finished.connect(lambda results: heard.append(("finished", results)))
    run.refused.connect(lambda why: heard.append(("refused", why)))
    run.stopped.connect(lambda: heard.append(("stopped", None)))
    run.said.connect(lambda line: heard.append(("said", line)))
    run.progress.connect(lambda percent: heard.append(("progress", percent)))
    run.start()
    return run, heard


def endings_in(heard):
    return [note for note in heard if note[0] in ("finished", "refused", "stopped")]


def test_a_run_hands_on_steps_warnings_and_results_and_leaves_the_desktops_thread(endings, until):
    _, heard = started("endings:answers", {"CELL": 5.0})
    until(lambda: endings_in(heard))
    assert [words for how, words in heard if how == "said"] == [
        "Stand at the stops", "2 stops left out"]
    assert ("progress", 40.0) in heard
    assert endings_in(heard) == [("finished", {"GIVEN": {"CELL": 5.0}, "IN_MAIN": False})]


@pytest.mark.parametrize(("algorithm", "words"), [
    ("endings:refuses", "stand_counts, row 14: length is 0 ft."),
    ("endings:forbids", "The folder holds results already."),
    ("endings:cannot", "A part is missing."),
    ("endings:unprepared", "The project has no field."),
])
def test_a_refusal_comes_once_and_in_the_algorithms_own_words(endings, until, algorithm, words):
    _, heard = started(algorithm)
    until(lambda: endings_in(heard))
    assert endings_in(heard) == [("refused", words)]


def test_a_defect_is_named_in_one_sentence_and_not_as_a_traceback(endings, until):
    _, heard = started("endings:breaks")
    until(lambda: endings_in(heard))
    [(how, why)] = endings_in(heard)
    assert how == "refused"
    assert "ZeroDivisionError: division by zero" in why
    assert "Traceback" not in why and "\n" not in why


def test_an_algorithm_that_is_not_there_is_named(endings):
    _, heard = started("endings:nosuch")
    assert len(heard) == 1
    assert heard[0][0] == "refused"
    assert "endings:nosuch" in heard[0][1]


def test_a_cancelled_run_stops_and_is_no_error(endings, until):
    run, heard = started("endings:waits")
    until(lambda: ("said", "waiting") in heard)
    assert endings_in(heard) == []
    run.cancel()
    until(lambda: endings_in(heard))
    assert endings_in(heard) == [("stopped", None)]


def test_a_run_cancelled_before_it_began_stops_too(endings, until):
    run, heard = started("endings:waits")
    run.cancel()
    until(lambda: endings_in(heard))
    assert endings_in(heard) == [("stopped", None)]
    run.cancel()  # once more, after the end: nothing more is heard
    assert len(endings_in(heard)) == 1
