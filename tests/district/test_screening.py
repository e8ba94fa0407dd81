"""A district screened as a whole: faults told, ranking, the same answer however it is cut."""

from __future__ import annotations

import json
import os
import pickle
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
import yaml
from shapely import box

from terrain.district import screening
from terrain.district.engine import engine
from terrain.district.screened import Ground, Parcel, Screened, Water
from terrain.district.screening import ranked, screen
from terrain.errors import InputError

pytestmark = pytest.mark.long

ROWS, COLUMNS = 230, 180


@pytest.fixture(scope="module")
def district(tmp_path_factory, make_district):
    return make_district(tmp_path_factory.mktemp("screened") / "district")


@pytest.fixture(scope="module")
def tiles(tmp_path_factory):
    """The folder of the one tile of `whole`."""
    return tmp_path_factory.mktemp("whole") / "tiles"


@pytest.fixture(scope="module")
def whole(district, tiles):
    return screen(district, tiles, side=1000)


def told(found) -> bytes:
    """All that is said of parcels, to the last bit."""
    return pickle.dumps([replace(one, parcel=replace(one.parcel, outline=one.parcel.outline.wkb))
                         for one in found.parcels])


def test_the_same_bytes_however_the_ground_is_cut(district, whole, tmp_path):
    cut = screen(district, tmp_path / "tiles", side=64)
    assert (cut.tiles, whole.tiles) == (4 * 3, 1)
    assert repr(cut.parcels) == repr(whole.parcels)
    assert told(cut) == told(whole)
    assert cut.notes == whole.notes


def test_what_a_screening_says_of_the_whole(whole):
    assert whole.cells == ROWS * COLUMNS
    assert whole.overview.shape == (ROWS, COLUMNS)
    assert whole.district.rain.storms[whole.design].name == "big day"
    assert sorted(one.parcel.name for one in whole.parcels) == [
        "lower east", "lower west", "upper east", "upper west"]
    assert not any(one.fault for one in whole.parcels)
    assert "water rights" in " ".join(whole.notes)


@pytest.mark.slow
def test_on_workers_that_go_on_with_finished_tiles(district, whole, tiles):
    steps: list[str] = []
    for path in tiles.glob("parcels-*/*"):
        path.unlink()
    made = {path: path.stat().st_mtime_ns for path in tiles.rglob("*.tile")}
    with engine(workers=2) as its:
        again = screen(district, tiles, its.run, steps.append, side=1000, each=its.run_each)
    assert {path: path.stat().st_mtime_ns for path in tiles.rglob("*.tile")}.items() >= (
        made.items())
    assert repr(again.parcels) == repr(whole.parcels)
    assert steps == ["Reading the district", "Reading the rain and the weather",
                     "Following the water over the ground", "Looking at 4 parcels",
                     *(f"Looking at parcels: {done} of 4" for done in (1, 2, 3))]
    assert not list(tiles.glob("shared-*"))


def test_a_parcel_whose_worker_dies_is_told(district, whole, tmp_path):
    """As `Workers.run_each` gives the error in its place."""
    def each(function, rows, done):
        return [InputError("the workers of this machine", "6 workers died at one task", "Give "
                           "them more memory") if which == 1 else function(*row)
                for which, row in enumerate(rows)]

    found = screen(district, tmp_path / "tiles", each=each)
    assert [one.parcel.name for one in found.parcels if one.fault] == ["upper east"]
    assert "6 workers died" in found.parcels[-1].fault
    assert {one.parcel.name: one.run_on_area for one in found.parcels if not one.fault} == {
        one.parcel.name: one.run_on_area for one in whole.parcels
        if one.parcel.name != "upper east"}


def test_a_parcel_that_fails_is_told_and_the_others_go_on(make_district, write_layer, whole,
                                                          tmp_path, monkeypatch):
    """One smaller than a cell, one off the elevation, one at which the program itself fails."""
    folder = make_district(tmp_path / "district")
    import geopandas

    layer = geopandas.read_file(folder / "parcels.geojson").to_crs("EPSG:32734")
    rows = [{"name": name, "geometry": shape}
            for name, shape in zip(layer["name"], layer.geometry, strict=True)]
    rows += [{"name": "speck", "geometry": box(500174.1, 6399780.1, 500174.4, 6399780.4)},
             {"name": "away", "geometry": box(500900, 6399780, 500950, 6399800)},
             {"name": "strip", "geometry": box(500173, 6399790, 500179, 6399890)}]
    (folder / "parcels.geojson").unlink()
    write_layer(folder / "parcels.geojson", rows)
    real = screening.screen_parcel

    def failing(shared, parcel, *rest):
        if parcel.name == "strip":
            return [1 / 0]
        return real(shared, parcel, *rest)

    monkeypatch.setattr(screening, "screen_parcel", failing)
    found = screen(folder, tmp_path / "tiles", side=100)
    faults = {one.parcel.name: one.fault for one in found.parcels}
    assert [one.parcel.name for one in found.parcels[-3:]] == ["speck", "away", "strip"]
    assert "no cell" in faults["speck"]
    assert "off" in faults["away"]
    assert "ZeroDivisionError" in faults["strip"]
    assert all("\n" not in fault for fault in faults.values())
    good = {one.parcel.name: one for one in found.parcels if not one.fault}
    assert len(good) == 4
    for one in whole.parcels:
        assert good[one.parcel.name].run_on_area == one.run_on_area


def test_no_ground_where_nothing_may_be_dug(make_district, tmp_path):
    """All of one parcel is to be kept out of, as the district file draws it."""
    ring = [[500084, 6399890], [500172, 6399890], [500172, 6399992], [500084, 6399992]]
    folder = make_district(tmp_path / "district", suggest={"keep out": [{"around": ring}]})
    found = {one.parcel.name: one for one in screen(folder, tmp_path / "tiles").parcels}
    shut = found["upper east"]
    assert shut.swale is shut.basin is None
    assert [note for note in shut.notes if note.startswith("No ground for a swale")]
    assert [note for note in shut.notes if note.startswith("No ground for a basin")]
    assert shut.year.catchable > 0
    assert found["upper west"].swale is not None


def test_pages_are_those_asked_for(district, tmp_path):
    found = screen(district, tmp_path / "tiles", pages=["upper east"])
    assert [one.parcel.name for one in found.parcels if one.parcel.page] == ["upper east"]
    with pytest.raises(InputError, match="no parcel is called \"upper eats\""):
        screen(district, tmp_path / "tiles", pages=["upper eats"])


@pytest.fixture
def looked_at(monkeypatch):
    """Names of parcels that are looked at; those in `failing` fail by a slip of the program."""
    names, failing = [], []
    real = screening.screen_parcel

    def noted(shared, parcel, *rest):
        names.append(parcel.name)
        if parcel.name in failing:
            raise ZeroDivisionError("a slip " * 100)
        return real(shared, parcel, *rest)

    monkeypatch.setattr(screening, "screen_parcel", noted)
    return names, failing


def test_parcels_that_were_looked_at_are_not_looked_at_again(make_district, tmp_path, looked_at):
    names, failing = looked_at
    folder, tiles = make_district(tmp_path / "district"), tmp_path / "tiles"
    failing.append("lower west")
    first = screen(folder, tiles)
    assert len(names) == 4
    assert len(first.parcels[-1].fault) < 400  # of the slip not all is told
    failing.clear()
    names.clear()
    second = screen(folder, tiles)  # a fault of levelsill's own is not kept
    assert names == ["lower west"]
    names.clear()
    paged = screen(folder, tiles, pages=["upper east"])
    assert names == []
    assert [one.parcel.name for one in paged.parcels if one.parcel.page] == ["upper east"]
    assert repr([replace(one, parcel=replace(one.parcel, page=False)) for one in paged.parcels]
                ) == repr(list(second.parcels))
    file = sorted(tiles.glob("parcels-*/*"))[0]
    data = bytearray(file.read_bytes())
    data[-3] ^= 1
    file.write_bytes(data)
    assert repr(screen(folder, tiles).parcels) == repr(second.parcels)
    assert names == ["upper west"]


def test_another_process_finds_the_parcels(district, tiles, whole):
    """Whatever order its sets and words have."""
    code = (f"from pathlib import Path\nfrom terrain.district.screening import screen\n"
            f"screen(Path({str(district)!r}), Path({str(tiles)!r}), progress=print, side=1000)")
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True,
                          env={**os.environ, "PYTHONHASHSEED": "7"}).stdout
    assert "Looking at 0 parcels; 4 were looked at before" in said


@pytest.mark.parametrize("changed", [{"rules": {"steep toe setback": "9 m"}}, *(
    pytest.param(changed, marks=pytest.mark.slow) for changed in (
        {"suggest": {"infiltration": "16 mm/h"}}, {"evapotranspiration": [200] * 12},
        {"money": {"currency": "EUR", "machine hour": [50, 60]}}))])
def test_what_an_answer_rests_on_has_all_looked_at_again(make_district, tmp_path, looked_at,
                                                         changed):
    names, _ = looked_at
    screen(make_district(tmp_path / "district"), tmp_path / "tiles")
    given = tmp_path / "district" / "district.yaml"
    text = yaml.safe_load(given.read_text())
    given.write_text(yaml.safe_dump({**text, **changed}))
    names.clear()
    screen(tmp_path / "district", tmp_path / "tiles")
    assert len(names) == 4


def test_a_thing_to_keep_clear_of_has_only_those_near_it_looked_at_again(
        make_district, write_layer, tmp_path, looked_at):
    names, _ = looked_at
    folder = make_district(tmp_path / "district")
    screen(folder, tmp_path / "tiles")
    names.clear()
    file = folder / "wells.geojson"
    told = json.loads(file.read_text())
    told["features"][0]["properties"]["name"] = "new well"
    file.write_text(json.dumps(told))
    screen(folder, tmp_path / "tiles")
    assert "lower west" in names  # the well stands in it
    assert "upper east" not in names


def test_nothing_is_screened_where_only_levelsill_itself_fails(district, tmp_path, looked_at):
    looked_at[1].extend(["upper west", "upper east", "lower west", "lower east"])
    with pytest.raises(InputError, match=r"not one parcel could be screened.*ZeroDivisionError"):
        screen(district, tmp_path / "tiles")
    with pytest.raises(InputError, match=r"not one parcel could be screened.*6 workers died"):
        screen(district, tmp_path / "tiles", each=lambda function, rows, done: [
            InputError("the workers", "6 workers died at one task", "Give more memory")
            for _ in rows])


def test_equal_runs_at_once_do_not_share_a_file_and_no_other_bytes_are_taken(tmp_path):
    left = tmp_path / "shared-killed.pickle"
    left.touch()
    os.utime(left, (0, 0))
    one = screening._common(tmp_path, "the same")
    with screening._common(tmp_path, "the same") as other:
        with one as first:
            assert first.path != other.path
            assert not left.exists()
        assert not first.path.exists()
        assert other.path.exists()
        ran = tmp_path / "ran"
        other.path.write_bytes(pickle.dumps(Touch(str(ran))))
        with pytest.raises(InputError, match="not as this run wrote it"):
            screening.told_or_fault(other, 0, screening.Surroundings(), tmp_path / "file")
        assert not ran.exists()


class Touch:
    """Makes a file as soon as it is unpickled."""

    def __init__(self, path):
        self.path = path

    def __reduce__(self):
        return open, (self.path, "w")


def test_a_wrong_rule_is_told_before_any_tile_is_made(make_district, tmp_path):
    folder = make_district(tmp_path / "district", rules={"swale deepness": "1 m"})
    with pytest.raises(InputError, match="rules"):
        screen(folder, tmp_path / "tiles")
    assert not list((tmp_path / "tiles").glob("drained/*"))


def parcel(number, *, kept=None, basin=None, own=0.0, run_on=0.0, road=0.0, roof=0.0, year=True,
           fault=""):
    """A parcel with chosen figures, of the design storm or the year."""
    water = Water("x", 50.0, own, run_on, road, roof)

    def ground(much):
        return None if much is None else Ground(
            "swale", box(0, 0, 1, 1), box(0, 0, 1, 1), 1.0, 1.0, 1.0, None, 0.0, 1.0,
            (0.0, 0.0 if year else much), (0.0, 0.0 if year else much),
            much if year else None, much if year else None)

    storms = (replace(water, own=-1.0, run_on=-1.0, road=-1.0, roof=-1.0), water)
    return Screened(Parcel(number, f"p{number}", box(0, 0, 1, 1)), storms=storms,
                    year=water if year else None, swale=ground(kept), basin=ground(basin),
                    fault=fault)


@pytest.mark.parametrize("year", [True, False])
@pytest.mark.parametrize(("by", "order"), [
    ("kept", [2, 1, 4, 3, 5]), ("catchable", [3, 1, 2, 4, 5]), ("run-on", [4, 3, 1, 2, 5]),
    ("road", [1, 2, 3, 4, 5]), ("roof", [3, 1, 2, 4, 5])])
def test_ranked_as_asked_equals_in_their_order_and_faults_last(by, order, year):
    some = [parcel(1, kept=5, own=6, run_on=1, road=2, roof=1, year=year),
            parcel(2, kept=3, basin=9, own=4, run_on=0, road=1, year=year),
            parcel(3, own=6, run_on=2, year=year, roof=2),
            parcel(4, kept=5, own=0, run_on=3, year=year),
            parcel(5, fault="it lies off the raster")]
    found = ranked([some[i] for i in np.random.default_rng(1).permutation(5)], by, 1)
    assert [one.parcel.number for one in found] == order
