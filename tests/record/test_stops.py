import numpy as np

from plugin.record.stops import stops_at_one_place


def places(*eastings):
    return np.array([(east, 0.0) for east in eastings])


def test_stops_half_a_metre_apart_share_one_place_and_those_further_do_not():
    found = stops_at_one_place("pan", np.array([3, 7, 9]), places(0, 0.5, 10))
    assert found == ["pan, stops 3 and 7 share one place (within 0.5 m). Check the points and the "
                     "stop numbers. Used; the map averages them there."]
    assert stops_at_one_place("pan", np.array([3, 7]), places(0, 0.501)) == []


def test_readings_of_one_stop_are_one_stop_at_their_mean_place():
    # Stop 1 lies at 0 and 2, in the mean at 1, where stop 2 is; stop 3 is beside a reading only.
    found = stops_at_one_place("pan", np.array([1, 1, 2, 3]), places(0, 2, 1, 2.1))
    assert len(found) == 1 and found[0].startswith("pan, stops 1 and 2 share")
    assert stops_at_one_place("pan", np.array([1, 1]), places(0, 0)) == []


def test_stops_without_a_number_are_called_by_their_row():
    found = stops_at_one_place("pan", np.array([-4, 2, -6, 5]), places(0, 0, 9, 9))
    assert [one.split(" share")[0] for one in found] == [
        "pan, stop 2 and row 4", "pan, stop 5 and row 6"]


def test_each_place_is_told_once_and_many_stops_shortly():
    found = stops_at_one_place("pan", np.arange(1, 13), places(*[0] * 10, 50, 50))
    assert [one.split(" share")[0] for one in found] == [
        "pan, stops 1, 2, 3, 4, 5, 6, 7, 8 and 2 more", "pan, stops 11 and 12"]


def test_no_stop_and_thousands_at_one_place_are_no_trouble():
    assert stops_at_one_place("pan", np.array([], int), np.empty((0, 2))) == []
    assert len(stops_at_one_place("pan", np.arange(5000), np.zeros((5000, 2)))) == 1
