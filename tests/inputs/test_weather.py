import csv
import datetime
from pathlib import Path

import numpy as np
import pandas
import pytest

from terrain.errors import InputError
from terrain.inputs.rainfall import read_daily_rain
from terrain.inputs.weather import read_weather

# Every figure below is invented, save the real record at the end; only the layouts are real.


@pytest.fixture
def record(tmp_path):
    def write(text, unit=None, name="weather.csv"):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return read_weather(path, unit)
    return write


def told(record, *words):
    return any(all(word in note for word in words) for note in record.notes)


@pytest.mark.parametrize(("heads", "high", "low"), [
    ("tmax_c,tmin_c", 20, 5), ("TMAX (Degrees Fahrenheit),TMIN (Degrees Fahrenheit)", 68, 41),
    ("tmax (deg C),tmin (deg C)", 20, 5), ("Max temp (°C),Min temp (°C)", 20, 5),
    ("temp_max_f,temp_min_f", 68, 41), ("tmax_k,tmin_k", 293.15, 278.15),
    ("maximum temperature celsius,minimum temperature celsius", 20, 5),
    ("air temperature max degF,air temperature min degF", 68, 41),
    ("tmax (tenths of deg C),tmin (tenths of deg C)", 200, 50), ("tx 0.1 C,tn 0.1 C", 200, 50),
    ("tmax_f,tmin_c", 68, 5)])
def test_temperatures_in_the_unit_of_their_heads(record, heads, high, low):
    read = record(f"date,{heads}\n2024-02-28,{high},{low}\n2024-03-01,{high},{low}\n")
    assert read.days["tmax"].iloc[[0, 2]].tolist() == pytest.approx([20, 20])
    assert read.days["tmin"].iloc[[0, 2]].tolist() == pytest.approx([5, 5])
    assert list(read.days.index) == list(pandas.date_range("2024-02-28", "2024-03-01"))
    assert read.days.iloc[1].isna().all()
    assert read.source == "weather.csv"
    assert told(read, "header says")
    assert told(read, "Days without both temperatures", "1 of 3")


@pytest.mark.parametrize(("head", "text", "column", "value"), [
    ("wind_m_s", "3.6", "wind", 3.6), ("wind speed (km/h)", "36", "wind", 10),
    ("Wind mph", "10", "wind", 4.4704), ("mean wind [knots]", "10", "wind", 5.1444),
    ("rh_percent", "55", "humidity", 55), ("Relative humidity (%)", "55", "humidity", 55),
    ("RH mean", "55", "humidity", 55), ("rh_max_percent", "90", "humidity_max", 90),
    ("Minimum relative humidity (%)", "20", "humidity_min", 20),
    ("dewpoint_c", "4", "dew_point", 4), ("Dew point temperature (°F)", "50", "dew_point", 10),
    ("vp (Pa)", "700", "vapour_pressure", 0.7), ("vapor pressure hPa", "7", "vapour_pressure", 0.7),
    ("ea_kpa", "0.7", "vapour_pressure", 0.7), ("sun_h", "9.5", "sunshine", 9.5),
    ("sunshine hours", "9.5", "sunshine", 9.5), ("sunshine (min)", "90", "sunshine", 1.5),
    ("radiation_mj_m2", "22", "radiation", 22), ("Solar radiation (MJ/m²/day)", "22",
                                                 "radiation", 22),
    ("global radiation [kWh/m2]", "5", "radiation", 18),
    ("srad (W/m2)", "200", "radiation", 17.28)])
def test_what_else_a_table_may_hold_in_the_unit_of_its_head(record, head, text, column, value):
    # 1 mph = 0.44704 m/s and 1 knot = 1852/3600 m/s by definition; 200 W/m2 for 86,400 s is
    # 17.28 MJ/m2.
    read = record(f"date,tmax_c,tmin_c,{head},note\n2024-02-28,20,5,{text},dry\n")
    assert list(read.days.columns) == ["tmax", "tmin", column]
    assert read.days[column].iloc[0] == pytest.approx(value, rel=1e-4)
    assert told(read, "24 hours") == ("W/m2" in head)


def test_other_columns_are_not_taken_for_what_they_are_not(record):
    read = record("date,tmax_c,tmin_c,wind direction,wind gust m/s,net radiation,tmax time,"
                  "specific humidity,rh 9am,tavg_c\n2024-02-28,20,5,270,20,9,14:00,0.01,80,12\n")
    assert list(read.days.columns) == ["tmax", "tmin"]


def test_semicolons_decimal_commas_and_dates_of_either_order(record):
    read = record("Date;tmax_c;tmin_c\n01.03.2024;20,5;4,5\n31.03.2024;22;\n")
    assert read.days.loc["2024-03-01"].tolist() == [20.5, 4.5]
    assert told(read, "day/month/year")
    assert told(read, "without both temperatures", "30 of 31")


WIDE = ('"STATION","DATE","NAME","PRCP","PRCP_ATTRIBUTES","TMAX","TMAX_ATTRIBUTES","TMIN",'
        '"TMIN_ATTRIBUTES","AWND","AWND_ATTRIBUTES"\n'
        '"ZZC1","2024-01-01","HILL, ZZ","  123",",,7,0700","  264",",,7,0700","  104",",,7,",'
        '"   31",",,7"\n'
        '"ZZC1","2024-01-02","HILL, ZZ","    0","T,,7,0700","  -10",",,7,0700","  -52",",,7,",'
        '"     ",""\n'
        '"ZZC1","2024-01-03","HILL, ZZ","    0",",,7,0700"," 9999",",X,7,0700","   20",",,7,",'
        '"   10",",,7"\n')


def test_the_station_file_in_tenths_with_flags(record):
    read = record(WIDE)
    assert read.days["tmax"].iloc[:2].tolist() == pytest.approx([26.4, -1.0])
    assert read.days["tmin"].tolist() == pytest.approx([10.4, -5.2, 2.0])
    assert np.isnan(read.days["tmax"].iloc[2])
    assert read.days["wind"].iloc[[0, 2]].tolist() == pytest.approx([3.1, 1.0])
    assert told(read, "tenths of a degree", "whole numbers, up to 264")
    assert told(read, "quality flag", "1.")
    assert told(read, "mean wind speed", "0.1 m/s")
    assert told(read, "Days without mean wind speed", "1 of 3")


def test_whole_numbers_that_might_be_fahrenheit_ask_for_the_unit(record):
    # Tenths of a degree Celsius and whole degrees Fahrenheit look alike up to the hottest air.
    text = WIDE.replace("  264", "  104").replace("  104", "   80")
    with pytest.raises(InputError, match=r"in which unit its temperatures are.*temperature unit"):
        record(text)
    assert record(text, "0.1 C").days["tmax"].iloc[0] == pytest.approx(8.0)
    assert record(text, "F").days["tmax"].iloc[0] == pytest.approx(26.667, abs=0.001)


def test_the_station_file_by_element_mixed(record):
    read = record("ZZC1,20240101,TMAX,211,,,7,0700\nZZC1,20240101,PRCP,157,,,7,0700\n"
                  "ZZC1,20240101,TMIN,-11,,,7,0700\nZZC1,20240102,TMIN,20,,,7,0700\n"
                  "ZZC1,20240103,TMAX,188,,D,7,0700\nZZC1,20240103,TMIN,88,,,7,0700\n"
                  "ZZC1,20240103,AWND,25,,,W,\n")
    assert read.days["tmax"].iloc[0] == pytest.approx(21.1)
    assert read.days["tmin"].tolist() == pytest.approx([-1.1, 2.0, 8.8])
    assert np.isnan(read.days["tmax"].iloc[1:]).all()
    assert read.days["wind"].iloc[2] == pytest.approx(2.5)
    assert told(read, "without both temperatures", "2 of 3")


def test_the_station_order_in_metric_is_known_by_its_decimal(record):
    read = record('"STATION","DATE","PRCP","AWND","TMAX","TMIN"\r\n'
                  '"ZZC1","2024-01-01","0.0","3.1","26.4","10.4"\r\n'
                  '"ZZC1","2024-01-02","7.3","2.0","21.0","-0.4"\r\n')
    assert read.days["tmax"].tolist() == [26.4, 21.0]
    assert read.days["wind"].tolist() == [3.1, 2.0]
    assert told(read, "degrees Celsius", "one decimal")


def test_the_station_order_in_standard_units_must_be_declared(record):
    text = ('"STATION","DATE","PRCP","AWND","TMAX","TMIN"\n"ZZC1","2024-01-01","0.29","10","80",'
            '"50"\n')
    with pytest.raises(InputError, match="temperature unit: C"):
        record(text)
    read = record(text, "F")
    assert read.days.iloc[0].tolist() == pytest.approx([26.667, 10, 4.4704], abs=0.001)
    assert told(read, "Fahrenheit, as stated")
    assert told(read, "mean wind speed", "mph")


def test_a_name_line_above_the_header(record):
    read = record('"HILL, ZZ (ZZC1)"\n"Date","TAVG (Degrees Fahrenheit)","TMAX (Degrees '
                  'Fahrenheit)","TMIN (Degrees Fahrenheit)"\n"2024-01-01","","68","41"\n')
    assert read.days.iloc[0].tolist() == pytest.approx([20, 5])


PIXEL = ("Latitude: 34.07\nHow to cite: invented\nyear,yday,dayl (s),prcp (mm/day),srad (W/m^2),"
         "tmax (deg c),tmin (deg c),vp (Pa)\n2024,365,36000,0,300,20,5,700\n"
         "2025,1,36000,0,250,21,6,710\n")


def test_a_gridded_pixel_with_radiation_over_the_hours_of_daylight(record):
    # The set's own description, from memory: MJ/m2/day = srad x dayl / 1,000,000.
    read = record(PIXEL)
    assert read.days["radiation"].iloc[[0, 2]].tolist() == pytest.approx([10.8, 9.0])
    assert read.days["vapour_pressure"].iloc[0] == pytest.approx(0.7)
    assert "daylight" not in read.days
    assert list(read.days.index.strftime("%m-%d")) == ["12-30", "12-31", "01-01"]
    assert told(read, "31 December of leap years", "1.")
    assert told(read, "hours of daylight")
    with pytest.raises(InputError, match=r"line 3: .* Fetch the pixel again .*\(dayl\)"):
        record(PIXEL.replace("dayl (s)", "swe (kg/m^2)"))


def test_a_stated_unit_may_not_contradict_the_header(record):
    text = "date,tmax_c,tmin_c\n2024-01-01,20,5\n"
    assert record(text, "C").days["tmax"].iloc[0] == 20
    with pytest.raises(InputError, match="column 'tmax_c' says that it is in degrees Celsius, but "
                       "temperature unit: F"):
        record(text, "F")
    with pytest.raises(InputError, match="temperature unit 'R' is not known"):
        record(text, "R")


@pytest.mark.parametrize(("text", "words"), [
    ("2024-01-01,5,9\n", "line 2, columns 'tmax_c' and 'tmin_c': the highest temperature of "
     "2024-01-01, 5.0 °C, is below the lowest, 9.0 °C"),
    ("2024-01-01,57.1,9\n", "line 2, column 'tmax_c': the highest temperature 57.1, taken in "
     "degrees Celsius, is hotter than any"),
    ("2024-01-01,9,-90.1\n", "line 2, column 'tmin_c': the lowest temperature -90.1, .* colder"),
    ("2024-01-01,9,-9999\n", "colder than any air .* leave it empty where nothing was read"),
    ("2024-01-01,9,1\n\n2024-01-01,9,1\n", "line 4, column 'date': the day 2024-01-01 stands "
     "twice; it is in line 2 too"),
    ("2024-01-01,9,cold\n",
     "line 2, column 'tmin_c': the lowest temperature 'cold' is not a number"),
    ("2024-02-30,9,1\n", "line 2, column 'date': '2024-02-30' cannot be read as a date"),
    ("2024-01-01,9\n", "line 2: it has 2 columns"),
    ("2024-01-01,,1\n", "not one of its days has both temperatures"),
    ("2024-01-01,9,1\ndate,tmax_f,tmin_f\n", "line 3: it is a second header"),
    ("", "the record holds no days"),
    ("2024-01-01,9,5,1,5\n", "line 2: it has 5 columns where the table's head has 3. Write decim"),
])
def test_what_cannot_be_used_is_told_with_its_line_and_column(record, text, words):
    with pytest.raises(InputError, match=words) as caught:
        record(f"date,tmax_c,tmin_c\n{text}")
    assert "weather.csv" in caught.value.where


@pytest.mark.parametrize(("head", "value", "words"), [
    ("wind_m_s", "-1", "line 2, column 'wind_m_s': the mean wind speed -1 is below 0"),
    ("wind_m_s", "80", "column 'wind_m_s': the mean wind speed 80, taken in m/s, is more than"),
    ("rh_percent", "101", "column 'rh_percent': the mean humidity 101, .* more than there can be"),
    ("sun_h", "25", "column 'sun_h': the sunshine 25, taken in hours, is more than"),
    ("vp (Pa)", "70000", r"column 'vp \(Pa\)': the vapour pressure 70000, taken in Pa, is more"),
    ("radiation_mj_m2", "51", "line 2, column 'radiation_mj_m2': the solar radiation, 51.0 MJ/m2"),
    ("radiation_mj_m2", "1e308", r"the solar radiation, 1e\+308 MJ/m2"),
    ("wind", "3", "line 1: the column 'wind' does not say its unit. Name it in the header "
     r"\(m/s, km/h, mph, knots\), or delete"),
    ("wind_m_s,wind_mph", "3,6", "several columns of mean wind speed: wind_m_s, wind_mph")])
def test_other_readings_that_cannot_be(record, head, value, words):
    with pytest.raises(InputError, match=words):
        record(f"date,tmax_c,tmin_c,{head}\n2024-01-01,20,5,{value}\n")


@pytest.mark.parametrize(("text", "words"), [
    ("date,tmax_c\n2024-01-01,9\n", "no column of lowest temperature was found"),
    ("date,rain_mm\n2024-01-01,9\n", "no column of highest temperature was found"),
    ("when,tmax_c,tmin_c\n2024-01-01,9,1\n", "no date column"),
    ("date,tmax,tmin\n2024-01-01,9,1\n", "in which unit its temperatures are"),
    ("date,tmax,tmin\n2024-01-01,9.5,1.5\n", "in which unit its temperatures are"),
    ("ZZC1,20240101,TMAX,211,,,7,0700\n", r"no rows of lowest temperature \(TMIN\)"),
    ("year,yday,tmin (deg c)\n2023,1,9\n", r"no column of highest temperature.*\(tmax\)"),
    ("ZZC1,20240101,TMAX,150,,,7,\nZZC1,20240102,TMIN,20,,,7,\nZZC1,20240101,TMIN,160,,,7,\n",
     r"line 1, columns 4 \(TMAX\) and 4 \(TMIN\): .* below the lowest, 16.0 °C in line 3"),
    ("station,date,tmax_c,tmin_c\na,2024-01-01,9,1\nb,2024-01-01,9,1\n", "2 stations"),
])
def test_tables_that_lack_something(record, text, words):
    with pytest.raises(InputError, match=words):
        record(text)


def seattle_rows():
    """Rows of seattle-weather as vega_datasets ships it, read by the csv module alone."""
    import vega_datasets

    path = Path(vega_datasets.__file__).parent / "_data" / "seattle-weather.csv"
    with open(path, newline="") as file:
        return list(csv.DictReader(file))


def layouts(rows):
    """The real record written in four layouts; (text, unit to state)."""
    days = [datetime.date.fromisoformat(row["date"].replace("/", "-")) for row in rows]
    high, low = ([float(row[key]) for row in rows] for key in ("temp_max", "temp_min"))
    wind = [float(row["wind"]) for row in rows]
    together = list(zip(days, high, low, wind, strict=True))
    plain = "date,tmax_c,tmin_c,wind_m_s\n" + "".join(
        f"{d},{h},{c},{w}\n" for d, h, c, w in together)
    fahrenheit = "Date;Max temp (°F);Min temp (°F);Wind (mph)\n" + "".join(
        f"{d:%d.%m.%Y};{h * 1.8 + 32:.4f};{c * 1.8 + 32:.4f};{w / 0.44704:.5f}\n".replace(
            ".", ",").replace(f"{d:%d,%m,%Y}", f"{d:%d.%m.%Y}") for d, h, c, w in together)
    wide = '"STATION","DATE","TMAX","TMAX_ATTRIBUTES","TMIN","TMIN_ATTRIBUTES","AWND"\n' + "".join(
        f'"ZZC1","{d}","{round(h * 10):5d}",",,7,","{round(c * 10):5d}",",,7,",'
        f'"{round(w * 10):5d}"\n' for d, h, c, w in together)
    elements = "".join(
        f"ZZC1,{d:%Y%m%d},{name},{round(value * 10)},,,7,0700\n" for d, h, c, w in together
        for name, value in (("AWND", w), ("TMAX", h), ("TMIN", c)))
    return {"plain": plain, "fahrenheit": fahrenheit, "wide": wide, "elements": elements}


@pytest.mark.parametrize("layout", ["plain", "fahrenheit", "wide", "elements"])
def test_a_real_record_reads_the_same_in_every_layout(record, layout):
    # Source: seattle-weather of the package vega_datasets (the U.S. weather service's daily
    # record of 2012 to 2015); sums by year and month by the csv module and plain sums.
    rows = seattle_rows()
    read = record(layouts(rows)[layout])
    assert len(read.days) == 1461
    for key, column in (("temp_max", "tmax"), ("temp_min", "tmin"), ("wind", "wind")):
        sums = {}
        for row in rows:
            year, month = row["date"].replace("/", "-").split("-")[:2]
            for span in (year, f"{year}-{month}"):
                sums[span] = sums.get(span, 0.0) + float(row[key])
        assert len(sums) == 4 + 48
        for span, total in sums.items():
            assert read.days[column].loc[span].sum() == pytest.approx(total, abs=0.01), span


def test_rain_and_weather_are_read_from_the_same_file(tmp_path):
    rows = seattle_rows()
    path = tmp_path / "both.csv"
    path.write_text("date,rain_mm,tmax_c,tmin_c\n" + "".join(
        f"{row['date'].replace('/', '-')},{row['precipitation']},{row['temp_max']},"
        f"{row['temp_min']}\n" for row in rows))
    rain, weather = read_daily_rain(path), read_weather(path)
    assert rain.depths.index.equals(weather.days.index)
    assert rain.depths.sum() == pytest.approx(sum(float(r["precipitation"]) for r in rows))
