import numpy as np
import pandas
import pytest
from matplotlib.figure import Figure
from scipy.stats import genextreme

from terrain.outputs.charts import rain_charts
from terrain.plan.rain import rain_of
from terrain.runoff.extremes import extremes_of

# Invented rain: the wettest day of each year is drawn, the rest follows a fixed pattern.
YEARS = 12
SCALES = (1, 1.2, 1.8, 2, 2.1, 2.2, 2.3)
TABLE = "duration,1 yr in,2 yr in,10 yr in,25 yr in,50 yr in,100 yr in,200 yr in\n" + "".join(
    f"{hours} h,{','.join(f'{scale * hours ** 0.3:.2f}' for scale in SCALES)}\n"
    for hours in (0.25, 0.5, 1, 2, 3, 6, 12, 24, 48, 72, 96))


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    days = pandas.date_range("1990-01-01", f"{1989 + YEARS}-12-31", freq="D")
    depths = np.where(np.arange(len(days)) % 8 == 0, 6.0, 0.0) * (1 + np.cos(days.month / 2)) / 2
    daily = pandas.Series(np.round(depths, 1), index=days)
    most = genextreme.rvs(-0.1, 45, 14, size=YEARS, random_state=8)
    for year, depth in enumerate(most, 1990):
        daily[f"{year}-02-11"] = round(float(depth), 1)
    path = tmp_path_factory.mktemp("rain") / "farm gauge.csv"
    path.write_text("date,rain_mm\n" + "".join(f"{day:%Y-%m-%d},{depth}\n"
                                               for day, depth in daily.items()))
    return path


@pytest.fixture(scope="module")
def answer(record):
    return rain_of(record)


@pytest.fixture(scope="module")
def table(tmp_path_factory):
    path = tmp_path_factory.mktemp("rain") / "depths.csv"
    path.write_text(TABLE)
    return path


@pytest.mark.parametrize("system", ["metric", "us"])
def test_lettering_of_a_record_keeps_apart_and_inside(answer, system, seen):
    figure = rain_charts.draw_rain(answer, system)
    assert len(figure.axes) == 3
    assert len(seen.texts(figure)) > 35
    assert seen.overlaps(figure) == []
    assert seen.outside(figure) == []
    words = seen.words(figure)
    assert "farm gauge.csv" in words
    assert "1990-01-01 to 2001-12-31" in words
    assert (" mm" in words) == (system == "metric")
    assert (" in\n" in words) == (system == "us")


def test_the_start_of_its_years_stands_over_the_greatest_days(record, seen):
    figure = rain_charts.draw_rain(rain_of(record, start_month=9))
    assert "years from September on (start month 9)" in seen.words(figure)
    assert seen.overlaps(figure) == []
    assert seen.outside(figure) == []


@pytest.mark.parametrize(("system", "asked"), [
    ("metric", {}), ("us", {"return_period": 30.0}), ("metric", {"duration": 5.0}),
    ("us", {"return_period": 30.0, "duration": 5.0}),
    ("metric", {"return_period": 30.0, "duration": 5.0})])
def test_lettering_of_a_table_keeps_apart_and_inside(table, system, asked, seen):
    figure = rain_charts.draw_rain(rain_of(table, system=system, **asked), system)
    assert seen.overlaps(figure) == []
    assert seen.outside(figure) == []
    words = [t.get_text() for t in seen.with_gid(figure, "asked words")]
    assert bool(words) == bool(asked)
    if len(asked) == 2:
        # The table is a power law of duration, so by hand; its depths are rounded to 0.01 in.
        inches = (2.0 + np.log(30 / 25) / np.log(50 / 25) * 0.1) * 5 ** 0.3
        number, unit, rest = words[0].split(" ", 2)
        assert float(number) == pytest.approx(inches * {"mm": 25.4, "in": 1}[unit], rel=0.005)
        assert unit == {"metric": "mm", "us": "in"}[system]
        assert rest == "in 5 h, once in 30 years"


def test_a_short_record_has_no_curve(record, tmp_path, seen):
    short = tmp_path / "short.csv"
    short.write_text("".join(record.read_text().splitlines(keepends=True)[:366 * 3]))
    figure = rain_charts.draw_rain(rain_of(short), "metric")
    assert len(figure.axes) == 2
    assert seen.overlaps(figure) == []
    assert seen.outside(figure) == []


def test_a_month_without_readings_and_a_long_name(record, tmp_path, seen):
    path = tmp_path / ("the gauge behind the old pump house by the river " * 2 + ".csv")
    path.write_text("".join(line for line in record.read_text().splitlines(keepends=True)
                            if "-07-" not in line))
    figure = rain_charts.draw_rain(rain_of(path), "metric")
    assert "?" in [t.get_text() for t in seen.with_gid(figure, "value")]
    assert "unknown" in seen.words(figure)
    assert seen.overlaps(figure) == []
    assert seen.outside(figure) == []


def test_maxima_stand_where_their_rank_puts_them(answer):
    ax = Figure().add_subplot()
    rain_charts.draw_maxima(ax, answer.extremes, "metric")
    dots, = [line for line in ax.lines if line.get_gid() == "maxima"]
    assert dots.get_ydata().tolist() == sorted(answer.maxima.depths)
    # Cunnane 1978: the greatest of n stands at (n + 0.2) / 0.6 years.
    assert dots.get_xdata()[-1] == pytest.approx((YEARS + 0.2) / 0.6)
    assert ax.get_xscale() == "log"
    shown = [text.get_text().split("\n") for text in ax.get_xticklabels()]
    assert [years for years, _ in shown] == [f"{y} years" for y in (2, 5, 10, 25, 50, 100)]
    for (years, depth), level in zip(shown, answer.levels.loc[[2, 5, 10, 25, 50, 100], "depth_mm"],
                                     strict=True):
        assert depth == f"{level:.1f} mm", years


def test_the_band_is_drawn_in_the_units_asked(answer):
    tops = []
    for system in ("metric", "us"):
        ax = Figure().add_subplot()
        rain_charts.draw_maxima(ax, answer.extremes, system)
        band, = ax.collections
        tops.append(band.get_datalim(ax.transData).y1)
    assert tops[0] / tops[1] == pytest.approx(25.4)


def test_a_short_axis_still_shows_its_greatest_year():
    many = extremes_of(genextreme.rvs(0.0, 45, 14, size=150, random_state=8))
    ax = Figure().add_subplot()
    rain_charts.draw_maxima(ax, many)
    assert ax.get_xlim()[1] > 150.2 / 0.6


def test_days_a_year_are_as_counted(answer):
    daily = answer.record.depths
    ax = Figure().add_subplot()
    rain_charts.draw_how_often(ax, daily)
    line, = ax.lines
    depths, days = line.get_data()
    for depth, often in zip(depths[:-1:7], days[:-1:7], strict=True):
        assert often == pytest.approx((daily > depth).mean() * 365.25)
    assert line.get_drawstyle() == "steps-post"
    assert depths[-1] == daily.max()


def test_a_record_without_rain_is_drawn():
    ax = Figure().add_subplot()
    dry = pandas.Series(0.0, index=pandas.date_range("2001-01-01", periods=400))
    rain_charts.draw_how_often(ax, dry)
    assert not ax.lines
    ax = Figure().add_subplot()
    rain_charts.draw_months(ax, pandas.Series(0.0, index=range(1, 13)))
    assert [bar.get_height() for bar in ax.patches] == [0.0] * 12


def test_months_are_the_records(answer):
    ax = Figure().add_subplot()
    rain_charts.draw_months(ax, answer.months, "us")
    assert [bar.get_height() for bar in ax.patches] == pytest.approx(
        (answer.months / 25.4).tolist())


def test_same_record_same_bytes(record, answer, seen):
    first, second = (rain_charts.draw_rain(one) for one in (answer, rain_of(record)))
    assert seen.bytes_of(first) == seen.bytes_of(second)
