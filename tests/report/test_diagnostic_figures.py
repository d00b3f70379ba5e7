import subprocess
import sys

import numpy as np
import pytest

from plugin.core.interpolate.covariance import NUGGET, CovarianceModel
from plugin.core.interpolate.diagnostics import diagnostics
from plugin.core.observations import Observations
from plugin.core.problems import InputProblem, Stopped
from plugin.report.diagnostic_figures import can_draw, diagnostic_figure, write_figures

MODEL = CovarianceModel("exponential", 1.0, 6.0, 30.0)


def found(count=40, model=MODEL, **options):
    generator = np.random.default_rng(0)
    values = generator.normal(30, 2, count)
    values[3] = 60.0  # far off what its neighbours say
    positions = generator.uniform(0, 200, (count, 2))
    return diagnostics(Observations.of("", "", positions, values), model, **options)


def words_of(panel):
    return [text.get_text() for text in panel.texts]


def test_the_variogram_shows_every_bin_with_its_pairs_and_the_models_curve():
    shown = found()
    panel = diagnostic_figure(shown, name="Stand", unit="plants/ac").axes[0]
    part = shown["variogram"]
    points, = panel.collections
    assert points.get_offsets().tolist() == [
        list(pair) for pair in zip(part["distance_m"], part["semivariance"])]
    assert words_of(panel) == [f"{pairs:,}" for pairs in part["pairs"]]
    curve, = panel.lines
    assert curve.get_xydata().T.tolist() == [part["curve"]["distance_m"],
                                             part["curve"]["semivariance"]]
    assert panel.get_ylabel() == "half mean squared difference, (plants/ac)²"


def labels_of(panel):
    return [text.get_text() for text in panel.get_legend().get_texts()]


def test_with_a_heading_pairs_along_and_across_it_have_their_own_marks():
    shown = found(heading_deg=200.0)
    panel = diagnostic_figure(shown, name="Stand", unit="").axes[0]
    along, across = shown["variogram"]["directions"]
    for points, part in zip(panel.collections[1:], (along, across), strict=True):
        assert points.get_offsets().tolist() == [
            list(pair) for pair in zip(part["distance_m"], part["semivariance"])]
        assert panel.get_ylim()[0] <= min(part["semivariance"])
        assert panel.get_ylim()[1] > max(part["semivariance"])
    marks = {tuple(map(tuple, points.get_paths()[0].vertices)) for points in panel.collections}
    assert len(marks) == 3  # told apart without colours
    assert labels_of(panel) == ["model of the surface", "readings, with the number of pairs",
                                "pairs along 20°", "pairs across 110°"]
    assert len(panel.lines) == 1  # the model is the same in all directions


def test_a_model_that_reaches_further_along_the_rows_has_a_curve_along_and_one_across():
    along_rows = CovarianceModel("exponential", 1.0, 6.0, 60.0, heading_deg=20.0, ratio=0.4)
    shown = found(model=along_rows, heading_deg=20.0)
    panel = diagnostic_figure(shown, name="Stand", unit="").axes[0]
    for line, part in zip(panel.lines, shown["variogram"]["directions"], strict=True):
        assert line.get_ydata().tolist() == part["curve"]["semivariance"]
    assert len({line.get_linestyle() for line in panel.lines}) == 2
    assert labels_of(panel)[:2] == ["model along 20°", "model across 110°"]


def test_readings_in_one_line_are_said_to_have_no_pairs_across_it():
    line = Observations.of("", "", [[0, 5 * one] for one in range(12)], np.arange(12.0) % 5)
    panel = diagnostic_figure(diagnostics(line, MODEL, heading_deg=0.0), name="", unit="").axes[0]
    assert labels_of(panel)[-1] == "pairs across 90°: none"


def test_readings_left_out_stand_by_what_the_others_predict():
    shown = found()
    panel = diagnostic_figure(shown, name="Stand", unit="plants/ac").axes[1]
    readings = next(line for line in panel.lines if len(line.get_xdata()) == 40)
    assert readings.get_xdata().tolist() == shown["left_out"]["predicted"]
    assert readings.get_ydata().tolist() == shown["left_out"]["observed"]
    assert (panel.get_xlabel(), panel.get_ylabel()) == ("predicted, plants/ac",
                                                        "observed, plants/ac")


def test_the_map_shows_every_reading_once_and_far_ones_by_their_form_too():
    shown = found()
    panel = diagnostic_figure(shown, name="Stand", unit="").axes[2]
    near, far_above, far_below = panel.collections
    off = np.array(shown["left_out"]["standardised_error"])
    assert off[3] > 2  # the reading that was set far off
    assert [len(group.get_offsets()) for group in (near, far_above, far_below)] == [
        np.sum(np.abs(off) < 2), np.sum(off >= 2), np.sum(off <= -2)]
    assert [shown["left_out"]["x"][3], shown["left_out"]["y"][3]] in (
        far_above.get_offsets().tolist())
    assert near.get_array().tolist() == off[np.abs(off) < 2].tolist()
    assert near.get_clim() == (-3, 3)  # even about no error


def test_a_part_that_readings_do_not_tell_says_so(tmp_path):
    one = Observations.of("", "", [[0, 0]], [3.0])
    figure = diagnostic_figure(diagnostics(one, MODEL), name="Stand", unit="")
    assert [words_of(panel) for panel in figure.axes] == [["The readings do not tell."]] * 3
    write_figures(tmp_path / "f.png", diagnostics(one, MODEL), name="Stand", unit="")
    flat = Observations.of("", "", [[0, 0], [0, 1], [9, 9]], [3.0] * 3)
    write_figures(tmp_path / "g.png", diagnostics(flat, CovarianceModel(NUGGET, 0.0)), name="",
                  unit="")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["f.png", "g.png"]


def test_the_file_is_a_png_and_the_same_each_time(tmp_path):
    from qgis.PyQt.QtGui import QImage

    assert can_draw()
    for name in ("a.png", "b.png"):
        write_figures(tmp_path / name, found(), name="$ and $ of ground", unit="$/ac")
    picture = QImage(str(tmp_path / "a.png"))
    assert (picture.width(), picture.height()) == (1800, 630)
    assert (tmp_path / "a.png").read_bytes() == (tmp_path / "b.png").read_bytes()


def test_a_folder_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(InputProblem, match="Choose a folder that is there"):
        write_figures(tmp_path / "no" / "f.png", found(), name="", unit="")


def test_nothing_of_matplotlib_is_loaded_before_a_figure_and_no_global_state_with_it():
    script = ("import sys\n"
              "from plugin.report import diagnostic_figures as figures\n"
              "assert not any(name.startswith('matplotlib') for name in sys.modules)\n"
              "figures.diagnostic_figure({'variogram': None, 'left_out': None}, name='', unit='')\n"
              "assert 'matplotlib.figure' in sys.modules\n"
              "assert 'matplotlib.pyplot' not in sys.modules\n")
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert (done.returncode, done.stderr) == (0, "")


def test_a_cancel_while_the_figure_is_drawn_or_written_leaves_no_file(tmp_path):
    def stop_at(least):
        def tick(fraction):
            if fraction >= least:
                raise Stopped
        return tick

    told = []
    write_figures(tmp_path / "whole.png", found(), name="Stand", unit="", tick=told.append)
    assert told[0] == 0.0 and told[-1] == 1.0 and told == sorted(told)
    (tmp_path / "whole.png").unlink()
    for least in (0.0, 1.0):
        with pytest.raises(Stopped):
            write_figures(tmp_path / "a.png", found(), name="Stand", unit="", tick=stop_at(least))
        assert list(tmp_path.iterdir()) == []
