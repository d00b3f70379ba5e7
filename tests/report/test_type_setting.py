"""Wrapping: every letter is kept and no line is wider than its column."""
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st


@given(text=st.text(alphabet="abcdefgh WM ÄßŁ中,.0123 ", max_size=200),
       width=st.floats(6.0, 120.0))
@settings(max_examples=60,
          suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_wrapping_keeps_every_letter_and_every_line_fits(qgis_app, text, width):
    from plugin.report.look import BODY
    from plugin.report.type_setting import width_mm, wrapped
    lines = wrapped(text, BODY, width)
    assert "".join("".join(lines).split()) == "".join(text.split())
    assert all(width_mm(line, BODY) <= width + 1e-9 for line in lines)  # rounding only


def test_line_ends_in_the_text_are_kept_and_an_empty_text_is_one_empty_line(qgis_app):
    from plugin.report.look import BODY
    from plugin.report.type_setting import wrapped
    assert wrapped("one\ntwo", BODY, 100) == ["one", "two"]
    assert wrapped("", BODY, 100) == [""]


def test_what_the_sheet_measures_is_what_the_layout_draws(qgis_app):
    from qgis.core import QgsLayout, QgsLayoutItemLabel, QgsProject

    from plugin.report.look import BODY, LEAD, TITLE
    from plugin.report.type_setting import format_of, width_mm
    project = QgsProject()
    layout = QgsLayout(project)
    for style in (BODY, LEAD, TITLE):
        label = QgsLayoutItemLabel(layout)
        if hasattr(label, "setTextFormat"):  # from QGIS 3.24 on
            label.setTextFormat(format_of(style))
        else:
            label.setFont(format_of(style).toQFont())
        label.setMarginX(0.0)
        label.setText("Replant 41.5 ac at 34,000 seeds/ac")
        # 1.5 % is added on purpose; the layout adds a fixed allowance of its own
        assert width_mm("Replant 41.5 ac at 34,000 seeds/ac", style) == pytest.approx(
            label.sizeForText().width(), rel=0.04, abs=1.0)
