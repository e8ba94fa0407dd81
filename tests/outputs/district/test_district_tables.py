"""Table, JSON and layers of a made-up screening, read back by other readers than wrote them.

What is read back is held against the figures that were put in by hand: no source needed.  Units:
1 acre = 4046.8564224 m2, 1 US gallon = 3.785411784 L, 1 yd = 0.9144 m, 1 ft = 0.3048 m (NIST
Handbook 44, appendix C).
"""

from __future__ import annotations

import csv
import json
import re
import sqlite3
from contextlib import closing
from dataclasses import replace
from xml.etree import ElementTree as ET

import geopandas
import numpy as np
import pyogrio
import pytest
from shapely import box
from shapely.geometry import shape

from terrain.outputs.data.answers_json import dumped
from terrain.outputs.district.district_json import district_object
from terrain.outputs.district.parcel_layers import write_parcels
from terrain.outputs.district.parcels_table import write_table
from terrain.outputs.district.rank_colours import COLOURS, class_of, class_words
from terrain.outputs.district.rounded import round_land
from terrain.outputs.district.tables import ranking_heads, ranking_rows, storm_rows
from terrain.outputs.district.told import land, round_land_words, volume
from terrain.outputs.district.words import found_lines, parcel_lines

#: What one of the unit inside is in the unit that a head states.
PER = {"ha": 1e-4, "m2": 1.0, "m3": 1.0, "m": 1.0, "acre": 1 / 4046.8564224,
       "ft2": 1 / 0.3048**2, "gal": 1 / 0.003785411784, "yd3": 1 / 0.9144**3, "ft": 1 / 0.3048,
       "h": 1.0, "crown": 1.0}
#: What every figure's key ends in, and the counts that have no unit.
UNITS = re.compile(r"_(m|m2|m3|mm|h|money)$")
COUNTS = {"number", "rank", "cells", "tiles", "graph_nodes", "graph_edges", "count", "at",
          "coordinates"}


@pytest.fixture
def rows(either, tmp_path):
    write_table(either, tmp_path / "district.csv")
    with open(tmp_path / "district.csv", encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def cell(row, head):
    """A figure of a row in the unit inside, by its head without the unit."""
    [found] = [name for name in row if name.rpartition(", ")[0] == head]
    return float(row[found]) / PER[found.rpartition(", ")[2]]


def test_the_table_holds_the_figures(either, rows):
    assert [row["parcel"] for row in rows] == [one.parcel.name for one in either.parcels]
    good = [one for one in either.parcels if not one.fault]
    assert [row["rank"] for row in rows] == [*(str(n) for n in range(1, len(good) + 1)), "", ""]
    for row, one in zip(rows, good, strict=False):
        assert cell(row, "area") == pytest.approx(one.parcel.area, abs=0.5)  # 1e-4 of an acre
        assert cell(row, "run-on ground") == pytest.approx(one.run_on_area, abs=0.5)
        assert row["run-on is at least"] == ("yes" if one.at_least else "no")
        assert int(row["roofs"]) == one.roofs.count
        assert cell(row, "roof area") == pytest.approx(one.roofs.area, abs=0.01)
        for storm, water in zip(either.district.rain.storms, one.storms, strict=True):
            assert cell(row, f"own {storm.name}") == pytest.approx(water.own, abs=0.001)
            assert cell(row, f"run-on {storm.name}") == pytest.approx(water.run_on, abs=0.001)
            assert cell(row, f"catchable {storm.name}") == pytest.approx(
                water.own + water.run_on, abs=0.001)
            assert cell(row, f"road {storm.name}") == pytest.approx(water.road, abs=0.001)
            assert cell(row, f"roof {storm.name}") == pytest.approx(water.roof, abs=0.001)
        assert cell(row, "catchable in an average year") == pytest.approx(
            one.year.own + one.year.run_on, abs=0.001)
        assert cell(row, "best swale earth to dig") == pytest.approx(one.swale.cut, abs=0.001)
        assert cell(row, "best swale machine") == pytest.approx(one.swale.hours, abs=0.005)
        assert cell(row, "best swale cost") == pytest.approx(one.swale.money, abs=0.005)
        assert cell(row, "best swale water against its bank") == pytest.approx(0.4, abs=0.001)
        # The design storm is the second.
        assert cell(row, "best swale keeps, 10-year day") == pytest.approx(60.0, abs=0.001)
        assert (row["best basin is a"] == "dug basin") == (one.basin is not None)
    for row in rows[-2:]:
        assert row["not screened, because"] == "The elevation knows nothing of it."
        filled = {head.rpartition(", ")[0] or head for head, value in row.items() if value}
        assert filled == {"parcel", "area", "not screened"}


def test_heads_tell_the_districts_own_units(either, rows):
    heads = " ".join(rows[0])
    us = either.district.units == "us"
    assert (", gal" in heads) == us
    assert (", acre" in heads) == us
    assert (", yd3" in heads) == us
    assert (", m3" in heads) == (not us)
    assert (", ha" in heads) == (not us)


def test_no_cell_begins_a_formula(hostile, tmp_path):
    """Signs that begin one (OWASP, CSV Injection)."""
    bad = replace(hostile, parcels=(*hostile.parcels[:-1], replace(
        hostile.parcels[-1], fault="=cmd|' /C calc'!A0")))
    write_table(bad, tmp_path / "district.csv")
    with open(tmp_path / "district.csv", encoding="utf-8", newline="") as stream:
        cells = [cell for row in csv.reader(stream) for cell in row]
    assert "'=1+1" in cells
    assert "'=cmd|' /C calc'!A0" in cells
    assert not any(cell.startswith(tuple("=+-@\t\r")) for cell in cells)


def test_json_holds_the_figures(either):
    told = json.loads(dumped(district_object(either, {1: "parcels/Quailstone.html"})))
    assert told["district"] == "Quailstone valley"
    assert told["design_storm"] == "10-year day"
    assert (told["graph_nodes"], told["graph_edges"]) == (812, 990)
    assert [p["rank"] for p in told["parcels"]] == [1, 2, 3, 4, 5, 6, None, None]
    for said, one in zip(told["parcels"], either.parcels, strict=True):
        assert said["area_m2"] == pytest.approx(one.parcel.area)
        assert said["page"] == ("parcels/Quailstone.html" if one.parcel.number == 1 else None)
        if one.fault:
            assert said["fault"] == one.fault
            assert "storms" not in said
            continue
        assert said["fault"] is None
        for water in one.storms:
            assert said["storms"][water.name] == pytest.approx({
                "rain_mm": water.rain, "own_m3": water.own, "run_on_m3": water.run_on,
                "catchable_m3": water.own + water.run_on, "road_m3": water.road,
                "roof_m3": water.roof})
        assert said["average_year"]["roof_m3"] == pytest.approx(one.year.roof)
        assert said["best_swale"]["kept_in_year_m3"] == pytest.approx(one.swale.kept_in_year)
        assert said["best_swale"]["storms"]["10-year day"] == {"comes_m3": 100.0, "kept_m3": 60.0}
        # The demo's elevation is in the working frame itself; JSON is rounded to 1e-8.
        assert shape(said["best_swale"]["line"]).equals_exact(one.swale.line, 1e-7)
        assert said["entries"][0]["at"] == pytest.approx(one.entries[0].at, abs=0.0006)
        assert (said["best_basin"] is None) == (one.basin is None)


def test_json_has_a_unit_to_each_figure(screening):
    found = set()

    def walk(value, key):
        if isinstance(value, dict):
            for name, part in value.items():
                walk(part, name)
        elif isinstance(value, list):
            for part in value:
                walk(part, key)
        elif isinstance(value, int | float) and not isinstance(value, bool):
            found.add(key)

    walk(json.loads(dumped(district_object(screening))), "")
    assert len(found) > 20
    assert [key for key in found if not UNITS.search(key) and key not in COUNTS] == []


@pytest.fixture(scope="module")
def package(made_up, tmp_path_factory):
    screening = made_up(faulty=(3,))
    path = tmp_path_factory.mktemp("layers") / "parcels.gpkg"
    write_parcels(screening, path)
    return screening, path


def test_layers_read_back_with_the_figures(package):
    screening, path = package
    layer = geopandas.read_file(path, layer="parcels").set_index("parcel")
    assert layer.crs.to_epsg() == 32734
    assert len(layer) == len(screening.parcels)
    for rank, one in enumerate(screening.parcels, 1):
        row = layer.loc[one.parcel.name]
        assert row.geometry.equals(one.parcel.outline)
        assert row["area_m2"] == one.parcel.area
        if one.fault:
            assert np.isnan(row["rank"])
            assert row["rank_class"] == 0
            assert row["not_screened"] == one.fault
            assert np.isnan(row["own_m2"])
            continue
        assert row["rank"] == rank
        assert row["run-on 10-year day m3"] == one.storms[1].run_on
        assert row["catchable_in_year_m3"] == one.year.catchable
        assert row["swale_kept_in_year_m3"] == one.swale.kept_in_year
        assert row["run_on_at_least"] == ("yes" if one.at_least else "no")
    good = [one for one in screening.parcels if not one.fault]
    lines = geopandas.read_file(path, layer="best_lines")
    assert len(lines) == sum((one.swale is not None) + (one.basin is not None) for one in good)
    for one in good:
        [row] = [r for _, r in lines[lines["parcel"] == one.parcel.name].iterrows()
                 if r["best"] == "swale"]
        assert row.geometry.equals(one.swale.line)
        assert row["kept_m3"] == one.swale.kept[1]
        assert row["why"] == one.swale.why[0]
    ground = geopandas.read_file(path, layer="best_ground")
    assert ground.geometry.iloc[0].equals(good[0].swale.footprint)
    entries = geopandas.read_file(path, layer="entries")
    assert len(entries) == sum(len(one.entries) for one in good)
    assert entries["area_m2"].iloc[0] == good[0].entries[0].area
    assert entries.geometry.iloc[0].coords[0] == pytest.approx(good[0].entries[0].at)
    roads = geopandas.read_file(path, layer="road_water")
    assert roads.geometry.iloc[0].coords[0] == pytest.approx(good[0].road.at)


def test_every_layer_has_a_style_with_a_rule_for_each_rank(package):
    _, path = package
    names = {name for name, kind in pyogrio.list_layers(path) if kind is not None}
    with closing(sqlite3.connect(path)) as base:
        styles = dict(base.execute("SELECT f_table_name, styleSLD FROM layer_styles"))
    assert set(styles) == names
    sld, ogc = "{http://www.opengis.net/sld}", "{http://www.opengis.net/ogc}"
    values = {part.text for part in ET.fromstring(styles["parcels"]).iter(f"{ogc}Literal")}
    layer = geopandas.read_file(path, layer="parcels")
    assert values == {str(value) for value in layer["rank_class"]}
    fills = {part.text for part in ET.fromstring(styles["parcels"]).iter(f"{sld}CssParameter")
             if part.get("name") == "fill" and part.text in COLOURS}
    assert fills == set(COLOURS)


def test_figures_that_nobody_has_leave_their_fields_numbers(made_up, tmp_path):
    """Without a rain record and rates: no year, no money; a field that is empty is one of numbers
    still."""
    bare = made_up()
    parcels = tuple(replace(one, year=None, swale=replace(
        one.swale, money=None, comes_in_year=None, kept_in_year=None), basin=None)
        for one in bare.parcels)
    write_parcels(replace(bare, parcels=parcels), tmp_path / "parcels.gpkg")
    layer = geopandas.read_file(tmp_path / "parcels.gpkg", layer="parcels")
    assert not [name for name in layer if "in_year" in name and not name.startswith(
        ("swale", "basin"))]
    assert layer["swale_kept_in_year_m3"].dtype == np.float64
    assert layer["swale_kept_in_year_m3"].isna().all()
    write_table(replace(bare, parcels=parcels), tmp_path / "district.csv")
    head = (tmp_path / "district.csv").read_text().partition("\n")[0]
    assert "catchable in an average year" not in head


def test_the_same_bytes_each_time(screening, tmp_path):
    for name in ("a", "b"):
        write_parcels(screening, tmp_path / f"{name}.gpkg")
        write_table(screening, tmp_path / f"{name}.csv")
    for end in ("gpkg", "csv"):
        assert (tmp_path / f"a.{end}").read_bytes() == (tmp_path / f"b.{end}").read_bytes()
    assert dumped(district_object(screening)) == dumped(district_object(screening))


def test_a_parcel_partly_off_the_elevation_is_told_as_at_least(screening, tmp_path):
    """A quarter of it lies east of the elevation, by its corners; then half of one per cent."""
    one = screening.parcels[0]
    _, south, east, _ = screening.overview.bounds

    def with_box(off):
        outline = box(east - 100 + off, south + 10, east + off, south + 60)
        first = replace(one, parcel=replace(one.parcel, outline=outline))
        return replace(screening, parcels=(first, *screening.parcels[1:]))

    part, whole = with_box(25.0), with_box(0.5)
    heads = ranking_heads(part)
    told = dict(zip(heads, ranking_rows(part, "metric")[0], strict=True))
    assert {head for head in heads if told[head].startswith("≥")} == {
        "own", "run-on", "catchable", "year, ground"}
    for row in storm_rows(part.parcels[0], part, "metric"):
        assert [cell.startswith("≥") for cell in row] == [False, False, True, True, True, False,
                                                          False]
    said = " ".join(parcel_lines(part.parcels[0], part, "metric")).replace("\u00a0", " ")
    assert "25 % of it lies off the elevation" in said
    assert "at least 1,001 m³ run off its own ground" in said
    assert re.search(r"day at least \S+ m³ run off", " ".join(found_lines(part, "metric")))
    assert district_object(part)["parcels"][0]["own_at_least"] is True
    assert "≥" not in "".join(ranking_rows(whole, "metric")[0])
    assert district_object(whole)["parcels"][0]["own_at_least"] is False


def without_ground(screening, names):
    """The same, these parcels without best ground and last, as they are ranked."""
    bare = [replace(one, swale=None, basin=None, notes=(
        "No ground for a swale: it is too steep.", "No ground for a basin: it is too small."))
        for one in screening.parcels if one.parcel.name in names]
    good = [one for one in screening.parcels if one.parcel.name not in names]
    return replace(screening, parcels=(*good, *bare))


def test_parcels_without_ground_are_a_class_of_their_own(screening, tmp_path):
    names = {one.parcel.name for one in screening.parcels[-2:]}
    found = without_ground(screening, names)
    assert [class_of(rank, found) for rank in (7, 8)] == [None, None]
    assert [class_words(n, found) for n in range(5)] == [
        "Rank 1", "Rank 2", "Ranks 3 to 4", "Rank 5", "Rank 6"]
    write_parcels(found, tmp_path / "parcels.gpkg")
    layer = geopandas.read_file(tmp_path / "parcels.gpkg", layer="parcels").set_index("parcel")
    assert {name for name in layer.index if layer.loc[name, "rank_class"] == -1} == names
    with closing(sqlite3.connect(tmp_path / "parcels.gpkg")) as base:
        [[style]] = base.execute("SELECT styleSLD FROM layer_styles WHERE f_table_name='parcels'")
    assert "No ground found" in style
    said = " ".join(found_lines(found, "metric"))
    assert "No ground found on 2 of them" in said
    none = without_ground(screening, {one.parcel.name for one in screening.parcels})
    said = " ".join(found_lines(none, "metric"))
    assert "stands first" not in said
    assert "stand first" not in said
    assert "No ground found on 8 of them" in said


def test_large_us_volumes_have_four_figures():
    """1 gal = 3.785411784 L, so 1234.56 m3 are 326,136 gal; 100 m3 26,417 gal; an acre is
    4046.8564224 m2."""
    assert volume(1234.56, "us") == "326,100 gal"
    assert volume(100.0, "us") == "26,417 gal"
    assert volume(1234.56, "metric") == "1,235 m³"
    assert land(2 * 4046.8564224, "us") == "2.00 acre"


def test_areas_are_told_as_everywhere_small_ones_in_square_metres_or_feet():
    """1 ft = 0.3048 m (NIST SP 811); what is small and round where maps begin to draw."""
    assert land(9_990.0, "metric") == "9,990 m²"
    assert land(10_000.0, "metric") == "1.00 ha"
    assert land(1000 * 0.3048**2, "us") == "1,000 ft²"
    assert round_land_words(round_land(1700.0, "metric"), "metric") == "2,000 m²"
    assert round_land_words(round_land(6_000.0, "metric"), "metric") == "1 ha"
    assert round_land_words(round_land(1_800 * 0.3048**2, "us"), "us") == "2,000 ft²"
    assert round_land_words(round_land(10_500 * 0.3048**2, "us"), "us") == "0.5 acre"
