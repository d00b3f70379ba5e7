import xml.etree.ElementTree as ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plugin.core.deliver.xml_text import Element, designator, escaped, fixed, xml_text
from plugin.core.problems import InputProblem


def sayable(sign):
    """Whether XML 1.0 can hold a sign (section 2.2 of the recommendation)."""
    number = ord(sign)
    return (number in (9, 10, 13) or 0x20 <= number <= 0xD7FF or 0xE000 <= number <= 0xFFFD
            or number >= 0x10000)


@given(st.text())
def test_text_comes_back_as_it_was_from_another_parser(text):
    read = ElementTree.fromstring(xml_text(Element("A", {"B": text})).encode("utf-8",
                                                                           "surrogatepass"))
    assert read.attrib["B"] == "".join(sign if sayable(sign) else "\ufffd" for sign in text)


def test_children_come_back_in_their_order():
    tree = Element("A", {}, (Element("B", {"x": "1"}), Element("C", {}, (Element("B"),))))
    read = ElementTree.fromstring(xml_text(tree).encode())
    assert [child.tag for child in read.iter()] == ["A", "B", "C", "B"]
    assert [element.tag for element in tree.walk()] == ["A", "B", "C", "B"]
    assert [child.attributes for child in tree.all("B")] == [{"x": "1"}]


def test_what_would_end_the_attribute_is_escaped():
    assert escaped('a"b<c>&\t\n') == "a&quot;b&lt;c&gt;&amp;&#9;&#10;"


@pytest.mark.parametrize("text,expected", [
    ("Quarry Flat", "Quarry Flat"), ("  two\nlines\t\x00 ", "two lines"), ("", ""),
    ("x" * 40, "x" * 32), ("ü" * 40, "ü" * 32), ("word " * 9, "word word word word word word wo"),
    # e and a combining accent on either side of the limit
    ("a" * 31 + "e\u0301" + "b", "a" * 31), ("a" * 30 + "e\u0301b", "a" * 30 + "e\u0301"),
    ("\U0001f33d" * 40, "\U0001f33d" * 32)])
def test_a_name_is_cut_between_characters(text, expected):
    assert designator(text) == expected


@given(st.text())
def test_a_name_is_one_line_of_at_most_32_characters(text):
    name = designator(text)
    assert len(name) <= 32 and name == name.strip() and len(name.splitlines()) <= 1


@pytest.mark.parametrize("value,decimals,text", [
    (9e-5, 9, "0.00009"), (-93.0, 9, "-93"), (0.0, 9, "0"), (-1e-12, 9, "0"), (1e6, 9, "1000000"),
    (42.1234567891, 9, "42.123456789"), (120.0, 0, "120"), (1e-9, 9, "0.000000001")])
def test_numbers_have_a_point_and_no_exponent(value, decimals, text):
    assert fixed(value, decimals) == text


@given(st.floats(-180, 180))
def test_a_number_reads_back_within_half_of_the_last_decimal(value):
    text = fixed(value)
    assert set(text) <= set("-.0123456789")
    assert abs(float(text) - value) <= 0.5000001e-9


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -float("inf")])
def test_what_is_no_number_is_refused(value):
    with pytest.raises(InputProblem, match="is no number"):
        fixed(value)
