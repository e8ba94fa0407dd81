import csv
import datetime

import numpy as np
import pandas
import pytest

from terrain.errors import InputError
from terrain.inputs.rainfall import filled, read_daily_rain

# Every figure below is invented; only the layouts are real.


@pytest.fixture
def record(tmp_path):
    def write(text, unit=None, name="rain.csv"):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return read_daily_rain(path, unit)
    return write


def told(record, *words):
    return any(all(word in note for word in words) for note in record.notes)


@pytest.mark.parametrize(("header", "factor"), [
    ("date,rain_mm", 1.0), ("date,rain_in", 25.4), ("Date,rain (mm)", 1.0),
    ("date,precip [in]", 25.4), ("day,Rainfall mm/day", 1.0), ("date,rain in inches", 25.4),
    ("date,rain in mm", 1.0), ("date,precipitation (tenths of mm)", 0.1),
    ("date,prcp 0.1 mm", 0.1)])
def test_the_plain_table_in_the_unit_of_its_header(record, header, factor):
    read = record(f"{header}\n2024-02-28,0\n2024-02-29,1.5\n2024-03-01,2\n")
    assert read.depths.tolist() == pytest.approx([0, 1.5 * factor, 2 * factor])
    assert list(read.depths.index) == list(pandas.date_range("2024-02-28", "2024-03-01"))
    assert read.source == "rain.csv"
    assert told(read, "header says")


def test_semicolons_and_decimal_commas(record):
    read = record("date;rain_mm\n01.03.2024;1,5\n31.03.2024;0,25\n")
    assert read.depths.loc["2024-03-01"] == 1.5
    assert read.depths.loc["2024-03-31"] == 0.25
    assert told(read, "day/month/year")
    assert told(read, "Days without a reading", "29 of 31")


def test_a_comma_is_no_decimal_sign_in_a_comma_separated_table(record):
    with pytest.raises(InputError, match="line 2, column 'rain_mm': the depth '1,5' is not"):
        record('date,rain_mm\n2024-03-01,"1,5"\n')


def test_gaps_are_nan_and_counted_blank_cells_too(record):
    read = record("date,rain_mm\n2024-01-01,1\n2024-01-02,\n2024-01-03,NA\n\n2024-01-05,4\n")
    assert np.isnan(read.depths.iloc[[1, 2, 3]]).all()
    assert read.depths.sum() == 5
    assert told(read, "Days without a reading", "3 of 5")


def test_rows_out_of_order_are_put_in_order_and_told(record):
    read = record("date,rain_mm\n2024-01-02,2\n2024-01-01,1\n")
    assert read.depths.tolist() == [1, 2]
    assert told(read, "not in order")


def test_a_trace_counts_as_nothing(record):
    read = record("date,rain_in\n2024-01-01,T\n2024-01-02,0.10\n")
    assert read.depths.tolist() == pytest.approx([0, 2.54])
    assert told(read, "trace", "1.")


def test_no_unit_asks_for_it_and_a_stated_one_is_taken(record):
    text = "date,rain\n2024-01-01,1.2\n"
    with pytest.raises(InputError, match="unit: mm"):
        record(text)
    assert record(text, "in").depths.iloc[0] == pytest.approx(1.2 * 25.4)
    assert told(record(text, "mm"), "as stated")


def test_a_stated_unit_may_not_contradict_the_header(record):
    assert record("date,rain_mm\n2024-01-01,1.2\n", "mm").depths.iloc[0] == 1.2
    with pytest.raises(InputError, match="header says its depths are in mm, but unit: in"):
        record("date,rain_mm\n2024-01-01,1.2\n", "in")


WIDE = ('"STATION","DATE","LATITUDE","NAME","PRCP","PRCP_ATTRIBUTES","SNOW","SNOW_ATTRIBUTES"\n'
        '"ZZC1","2024-01-01","34.07","HILL, ZZ","  123",",,7,0700","    0",",,7,"\n'
        '"ZZC1","2024-01-02","34.07","HILL, ZZ","    0","T,,7,0700","    0",",,7,"\n'
        '"ZZC1","2024-01-03","34.07","HILL, ZZ"," 9999",",X,7,0700","    0",",,7,"\n'
        '"ZZC1","2024-01-04","34.07","HILL, ZZ","     ","","    0",",,7,"\n'
        '"ZZC1","2024-01-06","34.07","HILL, ZZ","   40",",,7,0700","    0",",,7,"\n')


def test_the_station_file_in_tenths(record):
    read = record(WIDE)
    assert read.depths.iloc[[0, 1, 5]].tolist() == pytest.approx([12.3, 0, 4.0])
    assert np.isnan(read.depths.iloc[2:5]).all()
    assert told(read, "0.1 mm", "whole numbers")
    assert told(read, "quality flag", "1.")
    assert told(read, "trace", "1.")
    assert told(read, "Days without a reading", "3 of 6")


def test_a_stated_unit_wins_over_a_guess(record):
    assert record(WIDE, "mm").depths.iloc[0] == 123


def test_the_station_file_by_element_in_tenths(record):
    read = record("ZZC1,20240101,PRCP,157,,,7,0700\nZZC1,20240101,TMAX,211,,,7,0700\n"
                  "ZZC1,20240102,PRCP,0,T,,7,0700\nZZC1,20240103,PRCP,88,,D,7,0700\n")
    assert read.depths.iloc[:2].tolist() == pytest.approx([15.7, 0])
    assert np.isnan(read.depths.iloc[2])
    assert told(read, "0.1 mm")


def test_the_station_order_in_mm_is_known_by_its_decimal(record):
    read = record('"STATION","DATE","PRCP","PRCP_ATTRIBUTES"\r\n'
                  '"ZZC1","2024-01-01","0.0",",,7,"\r\n'
                  '"ZZC1","2024-01-02","7.3",",,7,"\r\n')
    assert read.depths.tolist() == [0, 7.3]
    assert told(read, "taken in mm", "one decimal")


def test_the_station_order_in_inches_must_be_declared(record):
    text = '"STATION","DATE","PRCP","SNOW"\n"ZZC1","2024-01-01","0.29",""\n'
    with pytest.raises(InputError, match="unit"):
        record(text)
    assert record(text, "in").depths.iloc[0] == pytest.approx(7.366)


def test_a_name_line_above_the_header(record):
    read = record('"HILL, ZZ (ZZC1)"\n"Date","TAVG (Degrees Fahrenheit)","PRCP (Inches)"\n'
                  '"2024-01-01","","0.50"\n')
    assert read.depths.iloc[0] == pytest.approx(12.7)
    with pytest.raises(InputError, match="line 4"):
        record('"HILL, ZZ (ZZC1)"\n"Date","PRCP (Inches)"\n"2024-01-01","0.50"\n"2024-01-02","x"\n')


def pixel(first, last):
    rows = [f"{day.year},{day.timetuple().tm_yday},38000.0,{day.month}.25"
            for day in (first + datetime.timedelta(n) for n in range((last - first).days + 1))
            if day.timetuple().tm_yday <= 365]
    return "\n".join(["Latitude: 34.07", "Elevation: 1402 meters", "How to cite: invented",
                      "year,yday,dayl (s),prcp (mm/day)", *rows]) + "\n"


def test_a_gridded_pixel_has_no_last_day_in_a_leap_year(record):
    read = record(pixel(datetime.date(2023, 12, 30), datetime.date(2025, 1, 2)))
    assert read.depths.loc["2024-02-29"] == 2.25  # yday 60 of a leap year
    assert read.depths.loc["2024-12-30"] == 12.25
    assert np.isnan(read.depths.loc["2024-12-31"])
    assert read.depths.isna().sum() == 1
    assert told(read, "31 December of leap years", "1.")
    assert not told(read, "without a reading")


def test_a_gridded_pixel_refuses_a_day_its_year_has_not(record):
    with pytest.raises(InputError, match="line 2: '2023,366'"):
        record("year,yday,prcp (mm/day)\n2023,366,1.0\n")


LOG = ("Date & Time;Rain (in)\n07/14/24 11:45 PM;0.04\n07/15/24 12:00 AM;0.31\n"
       "07/15/24 12:15 AM;0.10\n07/15/24 12:30 PM;0.02\n")


def test_a_gauges_log_is_summed_to_days(record):
    read = record(LOG)
    assert read.depths.tolist() == pytest.approx([0.04 * 25.4, 0.43 * 25.4])
    assert told(read, "month/day/year")
    assert told(read, "15 minutes apart", "2 of 2 days", "96")
    assert told(read, "midnight", "no time zone")


def test_a_time_that_stands_twice_in_a_log_is_refused(record):
    with pytest.raises(InputError, match=r"line 6, column 'Date & Time': the time .* twice; "
                       "it is in line 5"):
        record(LOG + "07/15/24 12:30 PM;0.02\n")


def test_a_clock_put_back_at_night_counts_both_hours(record):
    times = [f"11/03/24 {hour:02d}:{minute:02d} AM" for hour in (1, 1, 2) for minute in (0, 30)]
    read = record("Date & Time;Rain (in)\n11/02/24 11:30 PM;0\n11/13/24 11:30 PM;0\n"
                  + "".join(f"{time};0.10\n" for time in times))
    assert read.depths.loc["2024-11-03"] == pytest.approx(0.60 * 25.4)
    assert told(read, "clock was put back", "2 times")


@pytest.mark.parametrize(("text", "words"), [
    ("date,rain_mm\n2024-13-01,1\n", "line 2, column 'date': '2024-13-01' cannot be read"),
    ("date,rain_mm\n2024-01-01,1\nyesterday,1\n", "line 3, column 'date': 'yesterday' cannot"),
    ("date,rain_mm\n2024-01-01,1\n\n2024-01-01,2\n",
     "line 4, column 'date': the day 2024-01-01 stands twice"),
    ("date,rain_mm\n2024-01-01,-0.1\n", "line 2, column 'rain_mm': the depth -0.1 is below 0"),
    ("date,rain_mm\n2024-01-01,wet\n", "line 2, column 'rain_mm': the depth 'wet' is not a number"),
    ("date,rain_mm\n2024-01-01,inf\n", "line 2, column 'rain_mm': the depth 'inf' is not a number"),
    ("date,rain_mm\n2024-01-01,2000.1\n",
     "line 2, column 'rain_mm': the depth 2000.1 .* more than ever fell"),
    ("date,rain_in\n2024-01-01,79\n",
     r"column 'rain_in': the depth 79 \(2,007 mm, taken in inches\)"),
    ("date,rain_mm\n2024-01-01\n", "line 2: it has 1 columns"),
    ("date,rain_mm\n", "the record holds no days"),
    ("date,rain_mm\n2024-01-01,\n", "not one of its days has a depth"),
    ("", "the file is empty"),
    ("a letter about rain\n", "not a table"),
    ("when,rain_mm\n2024-01-01,1\n", "no date column"),
    ("date,flow\n2024-01-01,1\n", "no column of rain"),
    ("date,rain_mm\n2024-01-01,0.5 in\n", "the depth '0.5 in' is not a number. Write bare numbers, "
     "all in one unit"),
    ("date,rain_mm (in)\n2024-01-01,1\n", r"line 1: the column 'rain_mm \(in\)' names two units"),
    ("date,rain_mm\n2024-01-01,1\ndate,rain_in\n2024-01-02,1\n", "line 3: it is a second header"),
    ("date,rain,unit\n2024-01-01,1,mm\n2024-01-02,1,in\n", "line 3: its unit 'in' differs from "
     "'mm' in line 2"),
    ("date,rain,unit\n2024-01-01,1,pt\n", "line 2: its unit 'pt' is not known"),
    ("date,rain_mm,unit\n2024-01-01,1,in\n", "line 1: its header says .* in mm, but its column of "
     "units says inches"),
    ("ZZC1,20240101,PRCP,-5,,,7,0700\n", r"line 1, column 4 \(PRCP\): the depth -5"),
    ("ZZC1,20240101,PRCP,5,,,7,0700\nZZC1,20240101,PRCP,5,,,7,0700\n", "line 2, column 2: the day "
     "2024-01-01 stands twice"),
    ("date,rain_mm,rain_in\n2024-01-01,1,1\n", "several columns of rain: rain_mm, rain_in"),
    ("date,rain_cm\n2024-01-01,1\n", "line 1: the column 'rain_cm' is in centimetres"),
    ("date,rain_mm\n01/02/2024,1\n", "day/month or as month/day"),
    ("station,date,rain_mm\na,2024-01-01,1\nb,2024-01-01,1\n", "2 stations"),
    ("ZZC1,20240101,TMAX,157,,,7,0700\n", "no rows of rain"),
    ("year,yday,tmax (deg c)\n2023,1,9\n", "no column of rain"),
    ("date,rain_mm\n2024-01-01,1\n2024-01-02,3,5\n", "line 3: it has 3 columns where the table's "
     "head has 2. Write decimals with a point"),
    ("year,yday,prcp (mm/day)\n2023,1,3,5\n", "line 2: it has 4 columns where .* head has 3"),
    ("date,rain_mm\n2024-01-01,1e308\n", r"the depth 1e308 \(1e\+308 mm, taken in mm\) is more"),
    ("time,rain_mm\n2024-01-01 06:00,0\n2024-01-02 06:00,1500\n2024-01-02 07:00,1500\n",
     "readings of 2024-01-02 sum to 3,000 mm, more than ever fell in a day"),
])
def test_what_cannot_be_used_is_told_with_its_line(record, text, words):
    with pytest.raises(InputError, match=words) as caught:
        record(text)
    assert "rain.csv" in caught.value.where


def test_a_column_of_units_is_taken(record):
    read = record("date,rain,unit\n2024-01-01,0.5,inches\n2024-01-02,1,in\n")
    assert read.depths.tolist() == pytest.approx([12.7, 25.4])
    assert told(read, "inches", "column of units")


GAPPED = "date,rain_mm\n2024-01-01,10\n2024-01-02,0\n2024-01-04,2\n2024-01-08,0\n"


def test_gaps_filled_as_dry_are_told_and_change_no_reading(record):
    read = record(GAPPED)
    dry = filled(read, "dry")
    assert dry.depths.tolist() == [10, 0, 0, 2, 0, 0, 0, 0]
    assert told(dry, "4 days without a reading counted as dry")
    assert dry.source == read.source
    assert read.depths.isna().sum() == 4  # what was read is not changed


def test_gaps_filled_from_a_neighbour_by_the_ratio_over_common_days(record):
    read = record(GAPPED)
    # Common days: 1, 2 and 4 January (8 is beyond): 12 mm here, 8 mm there, so the ratio is 1.5.
    beside = record('"ZZC1","DATE"\n"Date","PRCP (Inches)"\n'
                    + "".join(f'"2024-01-0{day}","{depth / 25.4:.6f}"\n' for day, depth in
                              ((1, 6), (2, 1), (3, 4), (4, 1), (5, 0))), name="beside.csv")
    both = filled(read, None, beside)
    assert both.depths.iloc[:5].tolist() == pytest.approx([10, 0, 6, 2, 0], abs=1e-4)
    assert np.isnan(both.depths.iloc[5:7]).all()
    assert both.depths.iloc[7] == 0
    assert len(both.depths) == 8
    assert told(both, "2 days", "beside.csv times 1.5", "3 days that both have", "under a year")
    assert told(both, "2 days still without a reading")
    rest_dry = filled(read, "dry", beside)
    assert rest_dry.depths.iloc[5:7].tolist() == [0, 0]
    assert told(rest_dry, "2 days without a reading counted as dry")


def test_a_neighbour_scaled_by_a_constant_fills_what_was_taken_out(record):
    # Whatever is cut from a record comes back exactly from a neighbour that is k times it.
    rng = np.random.default_rng(4)
    days = pandas.date_range("2001-01-01", periods=800)
    rain = np.where(rng.random(800) < 0.3, rng.exponential(9, 800), 0)
    gone = rng.random(800) < 0.2
    gone[[0, -1]] = False
    own = pandas.DataFrame({"date": days, "rain_mm": np.where(gone, np.nan, rain)})
    other = pandas.DataFrame({"date": days, "rain_mm": rain * 0.7})
    both = filled(record(own.to_csv(index=False)), None,
                  record(other.to_csv(index=False), name="other.csv"))
    assert both.depths.to_numpy() == pytest.approx(rain, abs=1e-9)
    assert told(both, f"{gone.sum()} days without a reading filled", "times 1.43")
    assert told(both, "0 days still")
    assert not told(both, "under a year")


@pytest.mark.parametrize(("text", "words"), [
    ("date,rain_mm\n2023-01-01,10\n", "no day in common with rain.csv"),
    ("date,rain_mm\n2024-01-01,0\n", "1 day that it shares with rain.csv there is no rain"),
    ("date,rain_mm\n2024-01-02,3\n", "no rain to compare"),
    ("date,rain_mm\n2024-01-01,0.001\n2024-01-02,0\n2024-01-03,50\n2024-01-04,0\n"
     "2024-01-05,0\n2024-01-06,50\n", "the ratio of the two, it gives 2024-01-0. .* than ever")])
def test_a_neighbour_that_cannot_fill_is_refused(record, text, words):
    with pytest.raises(InputError, match=words) as caught:
        filled(record(GAPPED), None, record(text, name="beside.csv"))
    assert caught.value.where == "beside.csv"


def test_a_depth_of_2000_mm_passes(record):
    assert record("date,rain_mm\n2024-01-01,2000\n").depths.iloc[0] == 2000


def test_a_missing_or_binary_file(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        read_daily_rain(tmp_path / "none.csv")
    with pytest.raises(InputError, match="cannot be read"):
        read_daily_rain(tmp_path)
    (tmp_path / "picture.csv").write_bytes(b"II*\0\0\0date,rain_mm\n")
    with pytest.raises(InputError, match="not a text file"):
        read_daily_rain(tmp_path / "picture.csv")
    (tmp_path / "rain.csv").write_text("date,rain\n2024-01-01,1\n")
    with pytest.raises(InputError, match="'cm' is not known"):
        read_daily_rain(tmp_path / "rain.csv", "cm")


def test_a_real_record_keeps_its_total(tmp_path):
    # Source: seattle_weather of the package vega_datasets (the U.S. weather service's daily
    # record of 2012 to 2015, precipitation in mm); summed by the csv module: 4426.0 mm.
    import vega_datasets as vega

    path = tmp_path / "rain.csv"
    vega.data.seattle_weather()[["date", "precipitation"]].rename(
        columns={"precipitation": "rain_mm"}).to_csv(path, index=False)
    with open(path, newline="") as file:
        total = sum(float(row["rain_mm"]) for row in csv.DictReader(file))
    read = read_daily_rain(path)
    assert len(read.depths) == 1461  # 2012 to 2015, one of them a leap year
    assert read.depths.notna().all()
    assert read.depths.sum() == pytest.approx(total, abs=1e-6)
    assert total == pytest.approx(4426.0, abs=0.05)
    with open(path, newline="") as file:
        months = {}
        for row in csv.DictReader(file):
            months.setdefault(row["date"][:7], []).append(float(row["rain_mm"]))
    assert len(months) == 48
    for month, depths in months.items():
        assert read.depths.loc[month].sum() == pytest.approx(sum(depths), abs=1e-9)
