import pandas
import pytest

from terrain.errors import InputError
from terrain.inputs.rain_frequency import depth_of, frequency_table, is_frequency_table

# Every figure below is invented; only the layout is real.
HEAD = """Point precipitation frequency estimates ({unit})
NOAA Atlas 14 Volume 0 Version 0
Data type: Precipitation {kind}
Time series type: {series}
Location name (ESRI Maps): Invented Ranch, ZZ, USA
Elevation (USGS): 4600 ft


PRECIPITATION FREQUENCY ESTIMATES
"""
TAIL = "\nDate/time (GMT):  Mon Jan  1 00:00:00 2024\npyRunTime:  0.01\n"


@pytest.fixture
def table(tmp_path):
    def write(body, unit="inches", kind="depth", series="Partial duration"):
        path = tmp_path / "depths.csv"
        path.write_text(HEAD.format(unit=unit, kind=kind, series=series) + body + TAIL)
        return frequency_table(path)
    return write


PDS = ("by duration for ARI (years):, 1,2,10\n5-min:, 0.190,0.247,0.405\n"
       "60-min:, 0.600,0.780,1.278\n"
       "24-hr:, 1.350,1.755,2.876\n2-day:, 1.600,2.080,3.408\n")


def test_depths_in_inches(table):
    read = table(PDS)
    assert list(read.index) == pytest.approx([1 / 12, 1, 24, 48])
    assert list(read.columns) == [1, 2, 10]
    assert read.loc[24.0, 10.0] == pytest.approx(2.876 * 25.4)
    assert read.iloc[0, 0] == pytest.approx(0.19 * 25.4)


def test_depths_in_mm(table):
    read = table("by duration for ARI (years):, 1,2\n5-min:, 5,6\n24-hr:, 34,45\n", "millimeters")
    assert read.loc[24.0].tolist() == [34, 45]
    assert any("whole millimetres" in note for note in read.attrs["notes"])


def test_intensities_are_multiplied_by_their_duration(table):
    read = table("by duration for ARI (years):, 1,2\n5-min:, 2.280,2.964\n24-hr:, 0.056,0.073\n",
                 "inches/hour", "intensity")
    assert read.iloc[0].tolist() == pytest.approx([2.28 / 12 * 25.4, 2.964 / 12 * 25.4])
    assert read.loc[24.0, 2.0] == pytest.approx(0.073 * 24 * 25.4)
    assert any("multiplied by its duration" in note for note in read.attrs["notes"])


def test_annual_maxima_become_return_periods(table):
    read = table("by duration for AEP:, '1/2,'1/5,'1/1000\n24-hr:, 1.755,2.376,7.290\n",
                 series="Annual maximum")
    assert list(read.columns) == [2, 5, 1000]
    assert read.loc[24.0, 2.0] == pytest.approx(1.755 * 25.4)
    assert any("annual maxima" in note for note in read.attrs["notes"])


@pytest.mark.parametrize(("body", "words"), [
    ("24-hr:, 1,2\n", "no table of rain"),
    ("by duration for ARI (years):, 1,x\n24-hr:, 1,2\n", "line 10: 'x' is no number of years"),
    ("by duration for AEP:, '1/2,'5\n24-hr:, 1,2\n", "line 10: ''5' is no chance in a year"),
    ("by duration for AEP:, '1/2,'1/0\n24-hr:, 1,2\n", "line 10: ''1/0' is no chance"),
    ("by duration for ARI (years):, 2,1\n24-hr:, 1,2\n", "line 10, column '1': .* do not rise"),
    ("by duration for ARI (years):, 2,2\n24-hr:, 1,2\n", "line 10, column '2': .* do not rise"),
    ("by duration for ARI (years):, 1,2\n24-hr:, 1\n", "line 11, column '2': no depth stands"),
    ("by duration for ARI (years):, 1,2\n24-hr:, ,1\n", "line 11, column '1': no depth stands"),
    ("by duration for ARI (years):, 1,2\n24-hr:, 1,2,3\n", "line 11: it has 3 depths for 2 r"),
    ("by duration for ARI (years):, 1,2\n24-hr:, 1,-\n", "column '2': '-' is not a number"),
    ("by duration for ARI (years):, 1,2\n24-hr:, 0,2\n", "column '1': '0' is not above 0"),
    ("by duration for ARI (years):, 1,2\n24-hr:, -3,2\n", "column '1': '-3' is not above 0"),
    ("by duration for ARI (years):, 1,2\n24-hr:, 1,nan\n", "column '2': 'nan' is not a number"),
    ("by duration for ARI (years):, 1,2\n24-hr:, 3,2\n",
     "line 11, column '2': a rarer rain is less"),
    ("by duration for ARI (years):, 1,2\n24-hr:, 1,2\n60-min:, 1,2\n",
     "line 12, column 'duration': its duration is not longer"),
    ("by duration for ARI (years):, 1,2\n24-hr:, 1,2\n24-hr:, 1,2\n",
     "line 12, column 'duration': its duration is not longer"),
    ("by duration for ARI (years):, 1,2\n60-min:, 1,2\n24-hr:, 2,1.9\n", "line 12, column '2':"),
    ("by duration for ARI (years):, 1,2\n60-min:, 1,2\n24-hr:, 1.5,1.9\n",
     "line 12, column '2': its depth is less than that of a shorter duration"),
    ("by duration for ARI (years):, 1,2\n60-min:, 1,2\n24 hr: 2,3\n", "line 12: '24 hr: 2,3' is n"),
    ("by duration for ARI (years):, 1,2\n60-min:, 1,80\n", "column '2': more than 2,000 mm never"),
    ("by duration for ARI (years):, 1,2\n", "no row of depths"),
    ("by duration for ARI (years):, 1,1e400\n24-hr:, 1,2\n", "line 10: '1e400' is no number"),
    ("by duration for ARI (years):, 1,2000000\n24-hr:, 1,2\n", "line 10: '2000000' is no number"),
    ("by duration for ARI (years):, 1,2\n0-min:, 1,2\n", "line 11, .* '0-min' is not above 0"),
    (f"by duration for ARI (years):, 1,2\n{'9' * 400}-day:, 1,2\n", "line 11, .* and a year"),
])
def test_what_is_no_such_table_is_told_with_its_place(table, body, words):
    with pytest.raises(InputError, match=words):
        table(body)


def test_intensities_that_fall_short_by_their_rounding_are_raised(table):
    """1.00 in/h for 2 h and 0.66 for 3 h: 2.00 in and 1.98 in, printed to 0.01 in/h.

    By hand: 3 h may be up to 0.665 x 3 = 1.995 in, and 2 h as little as 0.995 x 2 = 1.99 in.
    """
    body = "by duration for ARI (years):, 1,2\n2-hr:, 1.00,1.50\n3-hr:, 0.66,1.20\n"
    read = table(body, "inches/hour", "intensity")
    assert read.loc[3.0].tolist() == pytest.approx([2.00 * 25.4, 3.60 * 25.4])
    assert any("fall short of it by up to 0.5 mm: 1." in note for note in read.attrs["notes"])
    with pytest.raises(InputError, match="line 12, column '1': its depth is less"):
        table(body.replace("0.66", "0.65"), "inches/hour", "intensity")


# A simple table; all figures are invented.
SIMPLE = """\
# for the farm
duration,2 yr mm,10 yr mm,100 yr mm

30 min,12,19,30
1 h,15,25,40
# the county's sheet ends here
24 h,40,60.5,100
2 days,44,66,110
"""


@pytest.fixture
def simple(tmp_path):
    def write(text, unit=None):
        path = tmp_path / "simple.csv"
        path.write_text(text)
        return frequency_table(path, unit)
    return write


def test_a_simple_table(simple):
    read = simple(SIMPLE)
    assert list(read.index) == [0.5, 1, 24, 48]
    assert list(read.columns) == [2, 10, 100]
    assert read.loc[24.0].tolist() == [40, 60.5, 100]
    assert any("log-log" in note and "logarithm of the years" in note
               for note in read.attrs["notes"])


@pytest.mark.parametrize(("head", "unit", "times"), [
    ("duration,2 yr in,10 yr in,100 yr in", None, 25.4),
    ("Duration,2-year (in),10-year (in),100-year (in)", None, 25.4),
    ("duration,2 years [mm],10 years [mm],100 years [mm]", "mm", 1),
    ("duration,2,10,100", "in", 25.4),
    ("duration,2 yr,10 yr,100 year", "mm", 1),
    ("duration_h,2yr_mm,10yr_mm,100yr_mm", None, 1),
    ("duration,2 yr mm,10 yr,100 yr", "mm", 1),
])
def test_heads_of_a_simple_table(simple, head, unit, times):
    rows = SIMPLE.split("\n", 2)[2].replace(",40,60.5,100", ",4,4.5,5").replace(
        ",44,66,110", ",4,5,5").replace(",12,19,30", ",1,2,3").replace(",15,25,40", ",2,3,4")
    read = simple(f"{head}\n{rows}", unit)
    assert list(read.columns) == [2, 10, 100]
    assert read.loc[24.0].tolist() == pytest.approx([4 * times, 4.5 * times, 5 * times])


@pytest.mark.parametrize(("head", "given", "hours"), [
    ("duration", "30-min", 0.5), ("duration h", "1.5", 1.5), ("duration (min)", "45", 0.75),
    ("duration [hours]", "3 days", 72), ("Durations", "24-hr", 24), ("duration_days", "2", 48)])
def test_durations_of_a_simple_table(simple, head, given, hours):
    assert list(simple(f"{head},2 yr mm\n{given},12\n").index) == pytest.approx([hours])


@pytest.mark.parametrize("separator", [";", "\t"])
def test_other_separators(simple, separator):
    assert simple(SIMPLE.replace(",", separator)).loc[24.0, 10.0] == 60.5


def test_intensities_in_a_simple_table(simple):
    read = simple("duration,2 yr mm/h,10 yr (mm per hour)\n30 min,24,40\n2 h,9,16\n")
    assert read.to_numpy().tolist() == [[12, 20], [18, 32]]


@pytest.mark.parametrize(("text", "unit", "words"), [
    ("duration,2 yr mm,10 yr in\n1 h,1,2\n", None, "line 1, column '10 yr in': its unit is not"),
    ("duration,2 yr mm,10 yr mm/h\n1 h,1,2\n", None, "column '10 yr mm/h': its unit is not"),
    ("duration,2 yr mm,10 yr\n1 h,1,2\n", None, "column '10 yr': it states no unit"),
    ("duration,2 yr,10 yr\n1 h,1,2\n", None, "does not say in which unit"),
    ("duration,2 yr mm\n1 h,1\n", "in", "line 1: it says its depths are in mm, but unit: in"),
    ("duration,2 yr cm\n1 h,1\n", None, "column '2 yr cm': its unit 'cm' is not known"),
    ("duration,2 yr mm/day\n1 h,1\n", None, "its unit 'mm/day' is not known"),
    ("duration,ten yr mm\n1 h,1\n", None, "column 'ten yr mm': it does not start with a number"),
    ("duration,0 yr mm\n1 h,1\n", None, "does not start with a number of years"),
    ("duration,10 yr mm,2 yr mm\n1 h,1,2\n", None, "column '2 yr mm': .* do not rise"),
    ("duration,2 yr mm,2 yr mm\n1 h,1,2\n", None, "do not rise"),
    ("duration,2 yr mm\n\n60,1\n", None, "line 3, column 'duration': '60' has no unit"),
    ("duration,2 yr mm\n3 m,1\n", None, "line 2, column 'duration': '3 m' is not a time"),
    ("duration,2 yr mm\n,1\n", None, "line 2, column 'duration': "),
    ("duration,2 yr mm\n0 h,1\n", None, "the duration '0 h' is not above 0"),
    ("duration,2 yr mm\n1e-300 min,1\n", None, "line 2, .* is not between a minute and a year"),
    ("duration,2 yr mm\n1 h,1\n1e6 h,2\n", None, "line 3, .* is not between a minute and a year"),
    (f"duration,{'9' * 400} yr mm\n1 h,1\n", None, "does not start with a number of years"),
    ("duration,2 yr mm\n24 h,40\n48 h,4001\n", None, "line 3, column '2 yr mm': more than 2,000"),
    (f"duration,2 yr mm\n24 h,40\n48 h,{'9' * 400}\n", None, "line 3, column '2 yr mm': more t"),
    ("duration,2 yr mm\n1 h,1\n60 min,2\n", None, "line 3, column 'duration': its duration is not"),
    ("duration,2 yr mm\n1 h,x\n", None, "line 2, column '2 yr mm': 'x' is not a number"),
    ("duration;2 yr mm\n1 h;2,5\n", None, "column '2 yr mm': '2,5' is not a number"),
    ("duration,2 yr mm,10 yr mm\n1 h,,2\n", None, "column '2 yr mm': no depth stands there"),
    ("duration,2 yr mm\n1 h,1,2\n", None, "line 2: it has 2 depths for 1 return"),
    ("duration,2 yr mm\n1 h,-1\n", None, "column '2 yr mm': '-1' is not above 0"),
    ("duration,2 yr mm,10 yr mm\n1 h,2,1\n", None, "line 2, column '10 yr mm': a rarer rain"),
    ("duration,2 yr mm\n1 h,3\n2 h,2.9\n", None, "line 3, column '2 yr mm': its depth is less"),
    ("duration,2 yr mm\n", None, "line 1: no row of depths"),
    ("duration\n1 h\n", None, "no table of rain"),
])
def test_bad_simple_tables_are_told_with_their_place(simple, text, unit, words):
    with pytest.raises(InputError, match=words):
        simple(text, unit)


def test_a_table_is_known_by_its_head(tmp_path):
    for text, answer in ((SIMPLE, True), (HEAD + PDS, True),
                         ("date,rain_mm\n2020-01-01,3\n", False),
                         ("# duration\ndate,rain_mm\n", False), ("", False)):
        path = tmp_path / "some.csv"
        path.write_text(text)
        assert is_frequency_table(path) is answer


def test_the_unit_must_be_there_and_fit(table):
    with pytest.raises(InputError, match="line 1: no unit"):
        table(PDS, "furlongs")
    with pytest.raises(InputError, match="line 1: its unit 'inches' does not fit"):
        table(PDS, "inches", "intensity")
    with pytest.raises(InputError, match="line 1: its unit 'inches/hour' does not fit"):
        table(PDS, "inches/hour", "depth")


def test_a_missing_file(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        frequency_table(tmp_path / "none.csv")
    with pytest.raises(InputError, match="cannot be read"):
        frequency_table(tmp_path)


def test_the_unit_may_be_stated_if_it_is_the_tables(tmp_path):
    path = tmp_path / "depths.csv"
    path.write_text(HEAD.format(unit="inches", kind="depth", series="Partial duration") + PDS)
    assert frequency_table(path, "in").equals(frequency_table(path))
    with pytest.raises(InputError, match="line 1: it says its depths are in inches"):
        frequency_table(path, "mm")
    with pytest.raises(InputError, match="is not one of a table"):
        frequency_table(path, "0.1 mm")


def test_depths_between_the_tables_own():
    """On a power law the log-log interpolation in duration is exact."""
    hours = [1.0, 4.0, 16.0]
    table = pandas.DataFrame({2.0: [10 * h**0.4 for h in hours], 8.0: [20 * h**0.4 for h in hours]},
                             index=hours)
    assert depth_of(table, 4, 2) == pytest.approx(10 * 4**0.4)
    assert depth_of(table, 7, 8) == pytest.approx(20 * 7**0.4)
    assert depth_of(table, 7, 4) == pytest.approx(15 * 7**0.4)  # half way in log years
    for outside in ((0.5, 2), (20, 2), (4, 1), (4, 100)):
        with pytest.raises(ValueError, match="outside the table"):
            depth_of(table, *outside)


def test_a_depth_worked_by_hand(simple):
    """Between 1 h (15, 25 mm) and 24 h (40, 60.5 mm), 2 and 10 years: 6 h once in 5 years.

    By hand: ln 6 / ln 24 = 1.79176 / 3.17805 = 0.56379;
    15 (40/15)^0.56379 = 26.076; 25 (60.5/25)^0.56379 = 41.146;
    (ln 5 - ln 2) / (ln 10 - ln 2) = 0.91629 / 1.60944 = 0.56932;
    26.076 + 0.56932 x 15.070 = 34.656 mm.
    """
    assert depth_of(simple(SIMPLE), 6, 5) == pytest.approx(34.656, abs=0.002)
