import json
import re

import numpy as np
import pandas
import pytest

from cli.main import levelsill as program
from terrain.errors import InputError
from terrain.plan.rain import rain_of

# An invented table; the power law makes depths between its own known by hand.
TABLE = "duration,2 yr mm,8 yr mm\n" + "".join(
    f"{hours} h,{10 * hours ** 0.5:.3f},{20 * hours ** 0.5:.3f}\n" for hours in (1, 4, 16))


@pytest.fixture(scope="module")
def seattle(tmp_path_factory):
    """A real daily record: Seattle-Tacoma airport, 2012 to 2015, as vega_datasets ships it."""
    from vega_datasets import data

    table = data.seattle_weather()
    path = tmp_path_factory.mktemp("rain") / "seattle.csv"
    path.write_text("date,rain_mm\n" + "".join(
        f"{day:%Y-%m-%d},{depth}\n" for day, depth in zip(table["date"], table["precipitation"],
                                                          strict=True)))
    return path


@pytest.fixture(scope="module")
def table(tmp_path_factory):
    path = tmp_path_factory.mktemp("rain") / "depths.csv"
    path.write_text(TABLE)
    return path


@pytest.fixture(scope="module")
def demo(demo_site):
    return demo_site.with_name("rain_daily.csv")


@pytest.fixture
def say(capsys):
    """The command in this process, which is quicker; its words."""
    def run(*words):
        program([str(word) for word in ("rain", *words)], standalone_mode=False)
        return capsys.readouterr().out
    return run


def test_a_real_record_through_the_installed_program(levelsill, seattle, tmp_path):
    picture = tmp_path / "rain.png"
    ran = levelsill("rain", seattle, "--more-than", "35mm", "--picture", picture)
    assert ran.code == 0
    assert ran.err == f"Drawn: {picture}\n"
    assert picture.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    # Counted with pandas from the same file.
    daily = pandas.read_csv(seattle, index_col="date")["rain_mm"]
    for depth in (2, 5, 10, 15, 20, 25, 30, 35, 40, 50):
        assert re.search(rf"^  {depth}\.0 mm +{(daily > depth).sum() / 4:.1f} ", ran.out, re.M)
    for year in (2012, 2013, 2014, 2015):
        assert f"{year} {daily[daily.index.str[:4] == str(year)].max()} mm" in ran.out
    assert "takes 10 whole years or more, and there are 4" in " ".join(ran.out.split())
    assert "July (start month 7) is the driest" in " ".join(ran.out.split())


def test_what_programs_read(say, demo):
    answer = json.loads(say(demo, "--json", "--return-period", "30"))
    daily = pandas.read_csv(demo, index_col="date", parse_dates=True)["rain_mm"]
    assert (answer["first_day"], answer["last_day"]) == ("2001-01-01", "2023-12-31")
    assert (answer["days"], answer["missing_days"]) == (len(daily), 0)
    greatest = daily.groupby(daily.index.year).max()
    assert [year["greatest_day_mm"] for year in answer["years"]] == greatest.tolist()
    totals = daily.groupby(daily.index.year).sum()
    assert [year["rain_mm"] for year in answer["years"]] == pytest.approx(totals.tolist())
    assert answer["median_year_mm"] == pytest.approx(totals.median())
    assert answer["mean_year_mm"] == pytest.approx(totals.mean(), rel=1e-3)
    assert [level["return_period_years"] for level in answer["levels"]] == [2, 5, 10, 25, 30, 50,
                                                                            100]
    from lmoments3 import distr

    theirs = distr.gev(**distr.gev.lmom_fit(greatest.to_numpy()))
    for level in answer["levels"]:
        depth = theirs.ppf(1 - 1 / level["return_period_years"])
        assert level["depth_mm"] == pytest.approx(depth, rel=1e-5)
        assert level["any_24_hours_mm"] == pytest.approx(1.13 * depth, rel=1e-5)
        assert level["low_mm"] < depth < level["high_mm"]
    assert [one["more_than_mm"] for one in answer["how_often"]] == [2, 5, 10, 15, 20, 25, 30, 40,
                                                                    50]
    assert any("twice the length of the record" in note for note in answer["notes"])
    assert any("1.13 times" in note for note in answer["notes"])
    units = re.compile(r"_(mm|years|h|a_year)$")
    counts = {"days", "missing_days", "wet_days", "start_month", "confidence", "shape", "month",
              "year", "may_be_longer"}
    for key in _number_keys(answer):
        assert units.search(key) or key in counts, key


def _number_keys(part):
    if isinstance(part, dict):
        for key, value in part.items():
            if isinstance(value, int | float):
                yield key
            yield from _number_keys(value)
    elif isinstance(part, list):
        for one in part:
            yield from _number_keys(one)


def test_the_same_record_says_the_same(say, demo):
    assert say(demo, "--json") == say(demo, "--json")


def test_us_units(say, demo):
    out = say(demo, "--units", "us", "--more-than", "0.6")
    assert re.findall(r"^  (\S+ in) +\d+\.\d ", out, re.M) == [
        "0.10 in", "0.25 in", "0.50 in", "0.60 in", "0.75 in", "1.00 in", "1.25 in", "1.50 in",
        "2.00 in"]
    assert " mm" not in out.split("What this rests on")[0]


def test_years_may_begin_in_another_month(say, demo):
    answer = json.loads(say(demo, "--json", "--start-month", "7"))
    assert answer["start_month"] == 7
    assert [year["year"] for year in answer["years"]] == list(range(2001, 2023))
    daily = pandas.read_csv(demo, index_col="date", parse_dates=True)["rain_mm"]
    assert answer["years"][0]["greatest_day_mm"] == daily["2001-07-01":"2002-06-30"].max()
    assert any("2000/01 and 2023/24" in note for note in answer["notes"])


def test_a_year_that_begins_within_another_has_both_in_its_name(say, demo):
    out = say(demo, "--start-month", "10")
    assert re.search(r"^  2001/02 \d+\.\d mm +2002/03 \d", out, re.M)
    assert " 2012/13 " in out
    assert not re.search(r"\b2012 \d", out)


@pytest.mark.parametrize(("words", "said"), [
    ((), "years from January on (start month 1)"),
    (("--start-month", "7"), "years from July on (start month 7)")])
def test_where_its_years_begin_stands_over_the_greatest_days(say, demo, words, said):
    assert f"The greatest day of each year, {said}" in say(demo, *words)


def test_a_table_and_a_depth_between_its_own(say, table):
    whole = say(table)
    assert re.search(r"^  4 h +20\.0 +40\.0$", whole, re.M)
    # Log-log in duration: 10 x 7^0.5 and twice that; 4 years are half way between 2 and 8.
    answer = json.loads(say(table, "--return-period", "4", "--duration", "7h", "--json"))
    assert answer["depths"] == [{"duration_h": 7, "return_period_years": 4,
                                 "depth_mm": pytest.approx(15 * 7**0.5, rel=1e-4)}]
    assert re.search(r"^  7 h +39\.7$", say(table, "--return-period", "4", "--duration", "7h"),
                     re.M)
    assert len(json.loads(say(table, "--duration", "120 min", "--json"))["depths"]) == 2
    assert len(json.loads(say(table, "--return-period", "4", "--json"))["depths"]) == 3


def test_a_table_without_a_unit(table, tmp_path):
    path = tmp_path / "bare.csv"
    path.write_text(TABLE.replace(" mm", ""))
    assert rain_of(path, "mm").table.iloc[0, 0] == 10
    with pytest.raises(InputError, match="line 4, column '8 yr': more than 2,000 mm never fell"):
        rain_of(path, "in")
    with pytest.raises(InputError, match=r"unit its depths are.* State it, such as --unit mm"):
        rain_of(path)


def test_what_does_not_fit_is_told(seattle, table, tmp_path):
    for words, said in (
            ({"more_than": [3.0]}, "--more-than: depths.csv is a table of depths"),
            ({"start_month": 7}, "--start-month: depths.csv is a table of depths"),
            ({"duration": 40.0}, "depths.csv: a duration of 40 h is outside the table"),
            ({"return_period": 100.0}, "depths.csv: once in 100 years is outside the table")):
        with pytest.raises(InputError, match=said):
            rain_of(table, **words)
    for words, said in (
            ({"duration": 3.0}, "--duration: seattle.csv is a daily record, which knows only"),
            ({"more_than": [1e308]}, "--more-than: more than 2,000 mm never fell in a day"),
            ({"return_period": 5.0}, "--return-period: seattle.csv: a curve of annual maxima tak")):
        with pytest.raises(InputError, match=said):
            rain_of(seattle, **words)
    short = tmp_path / "short.csv"
    short.write_text("".join(seattle.read_text().splitlines(keepends=True)[:100]))
    with pytest.raises(InputError, match="it has readings of 99 days, too few"):
        rain_of(short)
    no_unit = tmp_path / "bare.csv"
    no_unit.write_text(seattle.read_text().replace("rain_mm", "rain"))
    with pytest.raises(InputError, match="State it, such as --unit mm"):
        rain_of(no_unit)
    assert rain_of(no_unit, "in").mean_year == pytest.approx(25.4 * rain_of(seattle).mean_year)


def test_bad_words_end_in_one_sentence(levelsill, tmp_path):
    path = tmp_path / "depths.csv"
    path.write_text("duration,2 yr mm\n1 h,-3\n")
    ran = levelsill("rain", path)
    assert (ran.code, ran.out) == (2, "")
    assert ran.err.startswith(f"levelsill: {path} line 2, column '2 yr mm': '-3' is not above 0. ")
    assert ran.err.count("\n") == 1


def test_a_return_period_of_a_year_is_none_of_annual_maxima(demo):
    with pytest.raises(InputError, match="1 years is not more than 1 year"):
        rain_of(demo, return_period=1.0)


def test_gaps_are_told(demo, tmp_path):
    lines = demo.read_text().splitlines(keepends=True)
    path = tmp_path / "gaps.csv"
    path.write_text("".join(line for n, line in enumerate(lines) if not 100 <= n < 110))
    answer = rain_of(path)
    assert any("lack 10 days together" in note for note in answer.notes)
    assert answer.record.depths.isna().sum() == 10
    assert np.isfinite(answer.mean_year)
