import re
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.figure import Figure

from terrain.errors import InputError
from terrain.outputs.charts import charts
from terrain.outputs.charts.charts import draw_storm_bars, draw_year, draw_year_bars
from terrain.outputs.charts.year_panels import draw_stores, ground_stores_of, last_days
from terrain.outputs.drawing import symbols as sy


def test_each_average_year_has_its_own_whole_name(us_plan, seen):
    rows = [text.get_text() for text in seen.with_gid(draw_year_bars(us_plan), "row")]
    names = [row for row in rows if "year" in row]
    assert names == [name for name, _ in us_plan.accounts if name not in us_plan.storms]
    assert len(set(names)) == len(names) == 5


def test_bars_of_one_kind_are_told_in_one_unit(us_plan, seen):
    figure = draw_year_bars(us_plan)
    for gid, unit in (("passive", "acre-ft"), ("roof", "gal"), ("left", "acre-ft")):
        told = [text.get_text() for text in seen.with_gid(figure, gid)]
        assert len(told) == 5
        assert [words for words in told if not words.endswith(f" {unit}")] == []


@pytest.mark.parametrize("draw", [draw_storm_bars, draw_year, draw_year_bars])
@pytest.mark.parametrize("plan", ["demo_plan", "us_plan"])
def test_lettering_keeps_apart_and_inside(draw, plan, request, seen):
    figure = draw(request.getfixturevalue(plan))
    assert len(seen.texts(figure)) > 15
    assert seen.overlaps(figure) == []
    assert seen.outside(figure) == []


@pytest.mark.parametrize("draw", [draw_storm_bars, draw_year])
def test_us_units_print(draw, us_plan, seen):
    words = seen.words(draw(us_plan))
    assert " gal" in words
    assert " in " in words
    assert "m³" not in words
    assert " mm" not in words


@pytest.mark.parametrize("draw", [draw_storm_bars, draw_year])
def test_same_plan_same_bytes(draw, demo_plan, seen):
    assert seen.bytes_of(draw(demo_plan)) == seen.bytes_of(draw(demo_plan))


def test_bars_are_as_long_as_the_accounts_say(demo_plan):
    kept, left = draw_storm_bars(demo_plan).axes
    accounts = [demo_plan.storms[s.name] for s in demo_plan.site.rain.storms]
    count = len(accounts)
    widths = [bar.get_width() for bar in kept.patches]
    assert widths[:count] == pytest.approx([a.passive for a in accounts])
    assert widths[count:] == pytest.approx([a.roof for a in accounts])
    assert [bar.get_width() for bar in left.patches] == pytest.approx(
        [a.left_site for a in accounts])


def test_bars_are_named_in_words(demo_plan, seen):
    figure = draw_storm_bars(demo_plan)
    for gid, key in (("passive", "passive"), ("roof", "roof"), ("left", "left_site")):
        said = [t.get_text() for t in seen.with_gid(figure, gid)]
        assert said == [sy.brief(getattr(demo_plan.storms[s.name], key), "volume", "metric")
                        for s in demo_plan.site.rain.storms]


def test_the_other_scale_is_told_truly(demo_plan, seen):
    figure = draw_storm_bars(demo_plan)
    kept, left = figure.axes
    note, = [t.get_text() for t in seen.with_gid(figure, "note")]
    times = float(re.search(r"(\d+) times smaller", note).group(1))
    longest = [ax.transData.transform([(1.0, 0), (0.0, 0)])[:, 0] for ax in (kept, left)]
    ratio = (longest[0][0] - longest[0][1]) / (longest[1][0] - longest[1][1])
    assert times == pytest.approx(ratio, abs=0.5)


def test_like_volumes_share_a_scale(demo_plan, seen):
    storms = {name: replace(a, left_site=a.passive) for name, a in demo_plan.storms.items()}
    figure = draw_storm_bars(replace(demo_plan, storms=storms))
    kept, left = figure.axes
    unit = [np.diff(ax.transData.transform([(0.0, 0), (1.0, 0)])[:, 0])[0] for ax in (kept, left)]
    assert unit[0] == pytest.approx(unit[1])
    assert seen.with_gid(figure, "note") == []


def test_months_sum_to_the_average_year(demo_plan):
    passive, roof = charts.captures(demo_plan)
    assert passive.shape == roof.shape == (12,)
    assert passive.sum() == pytest.approx(demo_plan.year.passive, rel=1e-9)
    assert roof.sum() == pytest.approx(demo_plan.year.roof, rel=1e-9)


def test_rain_of_the_months_is_the_records(demo_plan):
    seasons = demo_plan.seasons
    figure = draw_year(demo_plan)
    heights = [bar.get_height() for bar in figure.axes[0].patches]
    in_january = np.asarray(seasons.days.month) == 1
    january = seasons.rain_mm[in_january].sum() / (in_january.sum() / 31)
    assert len(heights) == 12
    assert heights[0] == pytest.approx(january)
    # Whole years: the mean over months is the mean over years, but for the leap days.
    assert sum(heights) == pytest.approx(seasons.rain_mm.sum() / seasons.years, rel=1e-3)


def test_a_line_for_every_tank(demo_plan, seen):
    figure = draw_year(demo_plan)
    rows = [t.get_text() for t in seen.with_gid(figure, "row")]
    for planned in demo_plan.stores:
        assert (planned.store.name in rows) == (planned.placed.kind == "tank")


def test_how_often_a_tank_is_empty(demo_plan, seen):
    assert "no empty day here" in seen.words(draw_year(demo_plan))  # a tanker sees to that
    index = charts.tanks_of(demo_plan)[-1]
    stores = list(demo_plan.seasons.stores)
    held = np.where(np.arange(stores[index].held.size) % 4 == 0, 0.0, stores[index].held)
    stores[index] = replace(stores[index], held=held)
    plan = replace(demo_plan, seasons=replace(demo_plan.seasons, stores=stores))
    dry = (held[-round(3 * 365.25):] < 0.01 * demo_plan.stores[index].store.capacity).mean()
    assert dry > 0.24
    assert f"empty {100 * dry:.0f} % of days" in seen.words(draw_year(plan))


def test_a_work_that_spilled_is_drawn_full(demo_plan):
    """What spills was full, though it stands lower when the day ends."""
    figure = draw_year(demo_plan)
    tops = {}
    for ax in figure.axes:
        rows = [t.get_text() for t in ax.texts if t.get_gid() == "store row"]
        for part in ax.collections:
            tops[rows[0] if rows else ""] = part.get_paths()[0].vertices[:, 1].max()
    days = len(last_days(demo_plan.seasons))
    spilled = {p.store.name for p, part in zip(demo_plan.stores, demo_plan.seasons.stores,
                                               strict=True) if (part.spilled[-days:] > 0).any()}
    drawn = spilled & set(tops)
    assert len(drawn) >= 3
    for name in drawn:
        assert tops[name] == pytest.approx(1.0)


def test_days_wet_are_those_of_the_seasons(demo_plan, seen):
    """Of one whole year of the record the chart says what the table of seasons says."""
    seasons = demo_plan.seasons
    year = demo_plan.years[0]
    inside = year.within(seasons.days)
    end = int(np.flatnonzero(inside)[-1]) + 1
    cut = {name: getattr(seasons, name)[end - 365:end] for name in ("days", "known")}
    stores = [replace(part, **{name: getattr(part, name)[end - 365:end] for name in (
        "held", "highest", "spilled", "runoff", "roof", "from_above", "grey", "brought")})
        for part in seasons.stores]
    plan = replace(demo_plan, seasons=replace(seasons, stores=stores, **cut))
    figure = Figure(figsize=(11, 6))
    draw_stores(figure, 0.5, 5.5, 10.0, plan)
    words = seen.words(figure)
    for index in ground_stores_of(plan):
        told = next(y for y in demo_plan.told.seasons[index] if y.year == year.name)
        days = told.days_with_water * 365.25 / inside.sum()
        said = "never wet" if not days else f"wet {days:.{0 if days >= 9.95 else 1}f} days a year"
        assert said in words


def test_days_wet_are_told_of_the_years_drawn_and_of_all(demo_plan, seen):
    """Both figures, so that the chart and the table of seasons can be held side by side."""
    figure = Figure(figsize=(11, 6))
    draw_stores(figure, 0.5, 5.5, 10.0, demo_plan)
    words = seen.words(figure)
    told = [f"{days:.{0 if days >= 9.95 else 1}f} on the average"
            for index in ground_stores_of(demo_plan)
            if (days := demo_plan.told.seasons[index][0].days_with_water)]
    assert told
    assert [said for said in told if said not in words] == []


def test_no_record_no_year(demo_plan):
    with pytest.raises(InputError, match="no daily rain record"):
        draw_year(replace(demo_plan, seasons=None, year=None))


def test_long_names_are_cut_not_spilled(demo_plan, seen):
    rain = demo_plan.site.rain
    long = rain.storms[0].model_copy(update={
        "name": "the storm that took the old bridge and most of the lower road away"})
    site = demo_plan.site.model_copy(update={"rain": rain.model_copy(
        update={"storms": [long, *rain.storms[1:]]})})
    storms = {**demo_plan.storms, long.name: demo_plan.storms[rain.storms[0].name]}
    figure = draw_storm_bars(replace(demo_plan, storms=storms,
                                     inputs=replace(demo_plan.inputs, site=site)))
    assert seen.outside(figure) == []
    assert any(t.get_text().endswith("…") for t in seen.with_gid(figure, "row"))


def test_trees_are_counted_one_by_one(demo_plan, seen):
    """Ten beside the lower swale and six of the orchard, as demo_dem/site.yaml states them."""
    assert "a year, 16 trees" in seen.words(draw_year(demo_plan))
