import pytest

from terrain.errors import InputError
from terrain.inputs.rain_frequency import frequency_table

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
    ("by duration for ARI (years):, 2,1\n24-hr:, 1,2\n", "do not rise"),
    ("by duration for ARI (years):, 1,2\n24-hr:, 1\n", "line 11: it has 1 values for 2"),
    ("by duration for ARI (years):, 1,2\n24-hr:, 1,-\n", "line 11: one of its values is not a n"),
    ("by duration for ARI (years):, 1,2\n24-hr:, 0,2\n", "line 11: one of its values is not above"),
    ("by duration for ARI (years):, 1,2\n24-hr:, 1,nan\n", "line 11: one of its values is not ab"),
    ("by duration for ARI (years):, 1,2\n24-hr:, 3,2\n", "line 11: a rarer rain is less"),
    ("by duration for ARI (years):, 1,2\n24-hr:, 1,2\n60-min:, 1,2\n", "line 12: its duration"),
    ("by duration for ARI (years):, 1,2\n", "no row of depths"),
])
def test_what_is_no_such_table_is_told_with_its_line(table, body, words):
    with pytest.raises(InputError, match=words):
        table(body)


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


def test_depths_between_the_tables_own(tmp_path):
    """On a power law the log-log interpolation in duration is exact."""
    import pandas

    from terrain.inputs.rain_frequency import depth_of

    hours = [1.0, 4.0, 16.0]
    table = pandas.DataFrame({2.0: [10 * h**0.4 for h in hours], 8.0: [20 * h**0.4 for h in hours]},
                             index=hours)
    assert depth_of(table, 4, 2) == pytest.approx(10 * 4**0.4)
    assert depth_of(table, 7, 8) == pytest.approx(20 * 7**0.4)
    assert depth_of(table, 7, 4) == pytest.approx(15 * 7**0.4)  # half way in log years
    for outside in ((0.5, 2), (20, 2), (4, 1), (4, 100)):
        with pytest.raises(ValueError, match="outside the table"):
            depth_of(table, *outside)
