"""Quantities read and printed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from published import rows

from terrain.units import (
    ACRE_FOOT,
    DIMENSIONS,
    LAND_FROM,
    NAMES,
    PRINTED,
    either,
    in_both,
    length_words,
    ordered,
    read_quantity,
    shown,
    told_first,
    within_words,
    worked,
)

DEFINED = {row["quantity"]: float(row["value"]) for row in rows("conversions.csv")}


@pytest.mark.parametrize(("text", "dimension", "inside"), [
    # Definitions: inch 25.4 mm, foot 0.3048 m, US gallon 231 cubic inches (3.785411784 L).
    ("1.2 in", "rain", 30.48), ("1.2in", "rain", 30.48), ("30mm", "rain", 30.0),
    ("40 cm", "length", 0.4), ("10 ft", "length", 3.048), ("11,000 gal", "volume", 41.639529624),
    ("1 acre-ft", "volume", DEFINED["acre-ft in m3"]), ("3 acre", "area", 3 * 4046.8564224),
    ("1 gal", "volume", DEFINED["US gallon in litre"] / 1000), ("2 ha", "area", 20000.0),
    ("250 L/day", "use", 0.25), ("100 gal per day", "use", 0.3785411784),
    ("0.5 in/h", "rate", 12.7), ("1 cfs", "flow", 0.3048**3), ("90 min", "time", 1.5),
    ("12 m³", "volume", 12.0), (".5 m", "length", 0.5), ("1e3 L", "volume", 1.0),
])
def test_a_quantity_with_its_unit(text, dimension, inside):
    assert read_quantity(text, dimension) == pytest.approx(inside, rel=1e-9)


@pytest.mark.parametrize(("given_", "dimension", "metric", "us"), [
    (30, "rain", 30.0, 762.0), (2, "length", 2.0, 0.6096), ("100", "volume", 100.0, 0.3785411784),
    (1000, "use", 1.0, 3.785411784)])
def test_a_bare_number_takes_the_declared_unit(given_, dimension, metric, us):
    assert read_quantity(given_, dimension, "metric") == pytest.approx(metric)
    assert read_quantity(given_, dimension, "us") == pytest.approx(us)


@pytest.mark.parametrize(("text", "says"), [
    ("6''", "quote mark"), ('6" 5\'', "quote mark"), ("deep", "number"), ("3 gal", "not a length"),
    ("3 furbles", "unknown unit"), (True, "not a quantity"), ("", "number"), ("1.2.3 m", "unit")])
def test_what_is_no_length(text, says):
    with pytest.raises(ValueError, match=says):
        read_quantity(text, "length")


@pytest.mark.parametrize(("text", "inches"), [
    # By hand, 12 inches to the foot; the inch is 0.0254 m exactly (international foot, 1959).
    ("1 ft 2 in", 14), ("1ft2in", 14), ("5 feet 6 inches", 66), ("1 foot 1 inch", 13),
    ("5' 6\"", 66), ("5'6\"", 66), ("5'-6\"", 66), ("5' - 6\"", 66), ("5′ 6″", 66), ("5’6”", 66),
    ('6"', 6), ("3'", 36), ('14.5"', 14.5), ("2 FT 3.5 IN", 27.5), ("0 ft 6 in", 6),
    ("1,200 ft 11.75 in", 14411.75), ("-3'", -36)])
def test_a_length_in_feet_and_inches(text, inches):
    assert read_quantity(text, "length") == pytest.approx(inches * 0.0254, rel=1e-12)
    assert read_quantity(text, "length", "us") == pytest.approx(inches * 0.0254, rel=1e-12)


@pytest.mark.parametrize(("text", "says"), [
    ("5 ft 14 in", "has 14 inches behind its feet, and 12 make a foot; write it such as 6 ft 2 in"),
    ("5' 12\"", "write it such as 6 ft 0 in"), ("-5 ft 6 in", "has a sign"),
    ("+5' 6\"", "has a sign"), ("5 ft -6 in", "has a sign"), ("5' -6\"", "has a sign"),
    ("5.5 ft 6 in", "feet that are not whole; write it such as 5 ft 6 in"),
    ("5' 6", "does not say that its 6 are inches"), ("5 ft 6", "does not say that its 6"),
    ("5 ft 6 in 3", "unknown unit"), ("5 ft 6 m", "unknown unit"), ("5 m 6 in", "unknown unit"),
    ("5 us-ft 6 in", "unknown unit"), ("5 ft 6 1/2 in", "unknown unit")])
def test_feet_and_inches_that_may_mean_something_else(text, says):
    with pytest.raises(ValueError, match=says):
        read_quantity(text, "length")


def test_marks_of_feet_and_inches_are_no_other_quantity():
    assert read_quantity('1.4"', "rain") == pytest.approx(35.56)  # 1.4 times 25.4 mm
    for text, dimension in (("1'", "rain"), ('5"', "time"), ("5'", "area")):
        with pytest.raises(ValueError, match="quote mark that is not read in"):
            read_quantity(text, dimension)
    for text in ("1 ft 2 in", "1' 2\""):
        with pytest.raises(ValueError, match="in feet and inches, which rain is not read in"):
            read_quantity(text, "rain")


def test_every_dimension_has_a_name():
    assert set(NAMES) == set(DIMENSIONS)


@given(st.floats(0.01, 999.0), st.sampled_from(["length", "rain", "area", "volume", "flow"]),
       st.sampled_from(["metric", "us"]))
def test_what_is_printed_reads_back(value, dimension, system):
    text = shown(value, dimension, system, decimals=6)
    assert read_quantity(text, dimension) == pytest.approx(value, abs=2e-6, rel=1e-4)


def test_printed_units_agree_with_the_definitions():
    assert PRINTED["volume"][1][1] == pytest.approx(1000 / DEFINED["US gallon in litre"])
    assert PRINTED["land"][1][1] == pytest.approx(1 / DEFINED["acre in m2"])


def test_unknown_and_thousands():
    assert shown(None, "length") == "unknown"
    assert shown(float("nan"), "length") == "unknown"
    assert shown(12345.67, "volume") == "12,346 m³"
    assert shown(1234.567, "level") == "1,234.57 m"
    assert shown(-0.001, "length") == "0.0 m"


def test_ground_is_told_as_land_from_a_size_up():
    """Quarter of an acre 10,890 ft2 and 43,560 ft2 an acre: NIST Handbook 44, appendix C."""
    assert LAND_FROM["us"] / 0.3048**2 == pytest.approx(10_890)
    assert shown(10_000.0, "ground") == "1.00 ha"
    assert shown(9_999.0, "ground") == "9,999 m²"
    assert shown(10_889 * 0.3048**2, "ground", "us") == "10,889 ft²"
    assert shown(43_561 * 0.3048**2, "ground", "us") == "1.00 acre"
    assert in_both(1000.0, "ground") == "1,000 m² (10,764 ft²)"
    assert in_both(20_000.0, "ground") == "2.00 ha (4.94 acre)"


def test_many_gallons_have_their_acre_feet_behind_them():
    """43,560 ft3 an acre-foot, 325,851 gal: NIST Handbook 44, appendix C."""
    assert pytest.approx(DEFINED["acre-ft in m3"]) == ACRE_FOOT
    assert shown(ACRE_FOOT * 1.0001, "volume", "us") == "325,884 gal (1.00 acre-ft)"
    assert shown(ACRE_FOOT * 0.9999, "volume", "us") == "325,819 gal"
    assert shown(ACRE_FOOT * 40, "volume", "us", with_unit=False) == "13,034,057"
    assert shown(ACRE_FOOT * 40, "volume") == "49,339 m³"
    assert in_both(ACRE_FOOT * 40, "volume") == "49,339 m³ (40.0 acre-ft)"
    with told_first("us"):
        assert in_both(ACRE_FOOT * 400, "volume") == "400 acre-ft (493,393 m³)"


def test_the_units_asked_for_come_first_in_running_text():
    assert in_both(1.0, "level") == "1.00 m (3.28 ft)"
    with told_first("us"):
        assert in_both(1.0, "level") == "3.28 ft (1.00 m)"
    assert in_both(1.0, "level") == "1.00 m (3.28 ft)"


def test_a_foot_is_that_of_the_site_at_hand():
    """NIST Special Publication 811, appendix B.6: 1200/3937 m for the US survey foot."""
    with told_first("us", "us-ft"):
        level = read_quantity("970.5 ft", "length", "us")
        assert level == pytest.approx(970.5 * 1200 / 3937, rel=1e-14)
        assert shown(level, "level", "us", 3) == "970.500 ft"
        assert length_words("us") == "US survey feet"
        assert read_quantity("12 in", "length", "us") == pytest.approx(0.3048)
        assert read_quantity("970 ft 6 in", "length", "us") == pytest.approx(level, rel=1e-8)
    assert shown(level, "level", "us", 3) == "970.502 ft"  # 2 ppm more of the shorter foot
    assert read_quantity("970.5 us-ft", "length") == pytest.approx(level, rel=1e-12)
    assert length_words("us") == "feet"
    assert length_words("metric") == "metres"


@pytest.mark.parametrize(("metres", "said"), [
    (14 * 0.0254, "14 in"), (0.3048, "12 in"), (0.6096, "2 ft"), (0.602, "23.7 in"),
    (3.9624, "13 ft"), (1.0, "3.3 ft"), (0.0, "0 in"), (-0.0001, "0 in"), (-0.1, "-3.9 in")])
def test_a_size_is_told_as_it_is_dug(metres, said):
    assert shown(metres, "size", "us") == said
    assert shown(metres, "size") == shown(metres, "level")


def test_a_figure_written_in_both_systems_follows_the_order():
    assert ordered("5 mm", "0.2 in") == "5 mm (0.2 in)"
    assert either("5 m", 5.0, "length") == "5 m"
    with told_first("us"):
        assert ordered("5 mm", "0.2 in") == "0.2 in (5 mm)"
        assert either("5 m", 5.0, "length") == "16.4 ft"


def test_more_gallons_than_anyone_counts_are_told_in_millions():
    """9,895,222,007 gal are 30,367 acre-ft."""
    assert shown(9_895_222_007 * 0.003785411784, "volume", "us") == (
        "9,895 million gal (30,367 acre-ft)")
    assert shown(12_340_000 * 0.003785411784, "volume", "us") == "12.3 million gal (37.9 acre-ft)"


def test_no_more_digits_than_the_figure_has():
    assert (worked(33.54), worked(313.4)) == ("33.5 h", "313 h")
    assert (within_words(0.0004, "us"), within_words(0.0004, "metric")) == (
        "less than 0.1 in", "less than 0.01 m")
    assert within_words(0.05, "us") == "2 in"


def test_gallons_a_day_as_people_write_them():
    assert read_quantity("40 gpd", "use", "us") == read_quantity("40 gal/day", "use", "us")
    assert read_quantity("3 gpm", "flow") == read_quantity("3 gal/min", "flow")
