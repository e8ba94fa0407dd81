"""The ground whose water comes to each parcel, tile by tile: that of the single machine."""

import os
import signal
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path

import geopandas
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, box

from terrain.district import waters as waters_module
from terrain.district.engine import engine
from terrain.district.forest import Forest
from terrain.district.opened import open_district
from terrain.district.waters import waters
from terrain.inputs.district import read_district
from terrain.plan.siting.reading import open_ground
from terrain.runoff.ground import read_ground
from terrain.surface.neighbours import COLUMN_STEP, ROW_STEP
from terrain.surface.terrain import Terrain
from terrain.surface.tiled.kept_tiles import KeptTiles
from terrain.surface.tiled.work import one_by_one

pytestmark = pytest.mark.long

WEST, NORTH = 500000.0, 6400000.0
CRS = "EPSG:32734"


def at(x0, y0, x1, y1):
    """A rectangle, in metres east and south of the raster's corner."""
    return box(WEST + x0, NORTH - y1, WEST + x1, NORTH - y0)


def line(*points):
    return LineString([(WEST + x, NORTH - y) for x, y in points])


def layer(path, shapes, **columns):
    geopandas.GeoDataFrame(columns, geometry=list(shapes), crs=CRS).to_file(
        path, driver="FlatGeobuf", SPATIAL_INDEX="NO")


def district_in(folder, write_raster, heights, parcels, cover=(), roads=(), roofs=(), cell=1.0,
                otherwise=True, soils=None):
    """A district file and its layers.

    Parameters
    ----------
    parcels : shapes
    cover : (shape, class) pairs
    roads : (line, name, width, class)
    roofs : shapes
    """
    folder.mkdir(exist_ok=True)
    raster = folder / "ground.tif"
    raster.unlink(missing_ok=True)
    write_raster(raster, np.where(np.isnan(heights), -9999, heights).astype(np.float32), cell,
                 CRS, nodata=-9999.0)
    rows, columns = heights.shape
    whole = at(0, 0, columns * cell, rows * cell)
    layer(folder / "parcels.fgb", parcels, name=[f"lot {i}" for i in range(1, len(parcels) + 1)])
    cover = cover or [(whole, "pasture, fair")]
    layer(folder / "cover.fgb", [shape for shape, _ in cover], cover=[name for _, name in cover])
    layer(folder / "soils.fgb", [soils or at(0, 0, columns * cell / 2, rows * cell)], group=["B"])
    text = ("name: Somewhere\nelevation: {file: ground.tif, fill holes up to: 0}\n"
            "parcels: {file: parcels.fgb}\n"
            f"cover: {{file: cover.fgb{', otherwise: bare soil' if otherwise else ''}}}\n"
            "soils: {file: soils.fgb, otherwise: C}\n"
            "rain: {storms: [{name: big, depth: 50 mm}]}\n")
    if roads:
        layer(folder / "roads.fgb", [one[0] for one in roads], name=[one[1] for one in roads],
              width=[one[2] for one in roads], cover=[one[3] for one in roads])
        text += "roads: {file: roads.fgb}\n"
    if roofs:
        layer(folder / "roofs.fgb", roofs, name=[f"roof of {i}" for i in range(len(roofs))])
        text += "roofs: {file: roofs.fgb}\n"
    (folder / "district.yaml").write_text(text)
    return folder


def by_kind(cells, number, road, roof):
    """How many cells are of each kind; NaN stands as -1."""
    kinds = zip(np.where(np.isnan(number), -1.0, number)[cells].tolist(),
                (road & ~roof & ~np.isnan(number))[cells].tolist(),
                (roof & ~np.isnan(number))[cells].tolist(), strict=True)
    return Counter(kinds)


def brute_force(folder):
    """Of each parcel what the single machine says, by catchments of cells."""
    district = read_district(folder)
    dem = open_ground(district).read()
    terrain = Terrain(dem)
    ground = read_ground(district, dem, box(*dem.bounds))
    road, roof = np.zeros(dem.shape, bool), np.zeros(dem.shape, bool)
    for one in ground.roads:
        road |= one.cells
    for one in ground.roofs:
        roof |= one.cells
    known = np.isfinite(dem.heights)
    x, y = dem.xy(*np.indices(dem.shape))
    outlines = geopandas.read_file(folder / "parcels.fgb").geometry
    land = np.zeros(dem.shape, int)
    for number, outline in reversed(list(enumerate(outlines, start=1))):
        land[shapely.contains_xy(outline, x, y)] = number
    rows, columns = np.nonzero(terrain.direction < 8)
    way = terrain.direction[rows, columns]
    to = rows + ROW_STEP[way], columns + COLUMN_STEP[way]
    answers = []
    for number in range(1, len(outlines) + 1):
        inside = land == number
        shed = terrain.catchment(inside)
        enters = (land[rows, columns] != number) & (land[to] == number)
        through = {}
        for entry in set(zip(to[0][enters].tolist(), to[1][enters].tolist(), strict=True)):
            seam = np.zeros(dem.shape, bool)
            here = enters & (to[0] == entry[0]) & (to[1] == entry[1])
            seam[rows[here], columns[here]] = True
            through[entry] = by_kind(terrain.catchment(seam) & known, ground.curve_number, road,
                                     roof)
        answers.append((by_kind(inside & known, ground.curve_number, road, roof),
                        by_kind(shed & ~inside & known, ground.curve_number, road, roof),
                        terrain.touches_edge(shed), through,
                        bool((shed & known & np.isnan(ground.curve_number)).any()),
                        bool((inside & known).any())))
    return answers, dem.cell_area


def tiled(opened, run=one_by_one):
    """The same of the tiled run."""
    kinds, found, _ = waters(opened, run)
    names = list(zip(np.where(np.isnan(kinds.number), -1.0, kinds.number).tolist(),
                     kinds.road.tolist(), kinds.roof.tolist(), strict=True))
    assert len(set(names)) == len(names)

    def counter(areas):
        cells = areas / opened.files.cell**2
        return Counter({name: int(count) for name, count in zip(names, cells, strict=True)
                        if count})

    return [(counter(one.own), counter(one.run_on), one.at_least,
             {tuple(entry): counter(areas) for entry, areas in
              zip(one.entries.tolist(), one.through, strict=True)},
             "such as at" in one.fault, "no cell" not in one.fault and " off " not in one.fault)
            for one in found]


def check(folder, tiles, side, run=one_by_one):
    opened = open_district(folder, tiles, side)
    answers, area = brute_force(folder)
    assert area == opened.files.cell**2
    found = tiled(opened, run)
    for (own, run_on, at_least, through, gap, any_cell), told in zip(answers, found, strict=True):
        assert told[0] == own
        assert told[1] == run_on
        assert told[3] == through
        assert told[2] == at_least
        assert told[5] == any_cell
        assert told[4] == (gap and any_cell)
    return opened


@st.composite
def districts(draw):
    """Ground with flats, hollows and voids; rectangles of land, one of them perhaps with a hole
    that another fills; strips of cover, roads of any width, roofs."""
    rows, columns = draw(st.integers(5, 14)), draw(st.integers(5, 14))
    cell = draw(st.sampled_from([1.0, 2.0]))
    random = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    heights = random.normal(size=(rows, columns)).cumsum(0).cumsum(1) / 3
    heights = np.round(heights + random.normal(size=heights.shape) / 2, random.integers(0, 3))
    heights[random.random(heights.shape) < random.choice([0, 0.06])] = np.nan
    heights[0, 0] = 1.0

    def rectangle(most=8):
        x, y = random.integers(0, columns - 1), random.integers(0, rows - 1)
        wide, high = random.integers(1, most, 2)
        return at(*(float(v) * cell for v in (x, y, x + wide, y + high)))

    parcels = [rectangle() for _ in range(draw(st.integers(1, 6)))]
    if draw(st.booleans()) and min(rows, columns) > 5:
        outer, inner = at(0, 0, 5 * cell, 5 * cell), at(cell, cell, 4 * cell, 3 * cell)
        parcels[:0] = [outer - inner, inner]
    cover = [(rectangle(), str(random.choice(["pasture, poor", "woods, good", "bare soil"])))
             for _ in range(draw(st.integers(1, 3)))]
    roads = [(line(*(random.integers(0, 2 * max(rows, columns), (2, 2)) / 2 * cell)),
              str(random.choice(["track", "lane"])), float(random.choice([0.3, 1.0, 2.5])),
              str(random.choice(["dirt road", "gravel road"])))
             for _ in range(draw(st.integers(0, 3)))]
    roads = [road for road in roads if road[0].length > 0]
    roofs = [at(x * cell, y * cell, (x + 1.5) * cell, (y + 1.5) * cell)
             for x, y in draw(st.sets(st.tuples(st.integers(0, columns // 2 - 1),
                                                st.integers(0, rows // 2 - 1)), max_size=3))]
    roofs = [shapely.affinity.translate(roof, (roof.bounds[0] - WEST), -(NORTH - roof.bounds[3]))
             for roof in roofs]
    made = {"heights": heights, "parcels": parcels, "cover": cover, "roads": roads, "roofs": roofs,
            "cell": cell, "otherwise": draw(st.booleans())}
    return made, draw(st.integers(2, 9))


def check_any(write_raster, given_district):
    made, side = given_district
    with tempfile.TemporaryDirectory() as name:
        folder = district_in(Path(name) / "here", write_raster, **made)
        check(folder, Path(name) / "tiles", side)


@settings(max_examples=8)
@given(given_district=districts())
def test_any_district_cut_anyhow(write_raster, given_district):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(waters_module, "TOGETHER", 2)
        check_any(write_raster, given_district)


@pytest.mark.slow
@settings(max_examples=60)
@given(given_district=districts())
def test_many_more_districts_cut_anyhow(write_raster, given_district):
    check_any(write_raster, given_district)


@pytest.fixture
def slope(tmp_path, write_raster):
    """Ground that falls evenly to the south; the first lot has a bay that the second fills."""
    heights = 50 - 0.1 * np.indices((12, 9))[0].astype(float)
    bay = at(2, 5, 5, 8)
    return district_in(tmp_path / "here", write_raster, heights, [at(1, 2, 7, 10) - bay, bay])


def test_water_that_leaves_a_parcel_and_comes_back_is_counted_once(slope, tmp_path):
    """By hand: columns 1 to 6 of the first lot, rows 2 to 9, less three columns of three rows.
    Two rows of six cells lie above it, and the nine cells of the bay drain back onto it."""
    opened = check(slope, tmp_path / "tiles", 4)
    first, second = tiled(opened)
    assert sum(first[0].values()) == 6 * 8 - 9
    assert sum(first[1].values()) == 6 * 2 + 9
    assert sum(second[1].values()) == 3 * 5  # rows 0 to 4, of the first lot and of none
    entries = {place: sum(kinds.values()) for place, kinds in first[3].items()}
    # The bay's water comes back below it with that of the lot itself, and of the land above.
    assert entries == {**{(2, column): 2 for column in range(1, 7)},
                       **{(8, column): 8 for column in range(2, 5)}}
    assert first[2]
    assert second[2]


def test_water_that_comes_back_twice_and_goes_by_a_third_parcel():
    """A chain of seams by hand: lots 1 > 2 > 1 > 0 > 1 > 3, and a seam of lot 2 that joins it."""
    onward = np.array([2, 3, 4, 5, 0, 2])
    land, to_land = (np.array(one, np.int32) for one in ([1, 2, 1, 0, 1, 3], [2, 1, 0, 1, 3, 2]))
    forest = Forest.grown(onward, land, to_land, 4)
    passing = forest.through(np.array([0, 10, 20, 30, 40, 50, 5]))
    assert passing[1:].tolist() == [10, 35, 65, 105, 155, 5]
    assert forest.returns.tolist() == [True, False, True, False, False, True]
    assert forest.run_on(passing)[1:].tolist() == [20 + 40 + 5, 10 + 5, 155 - 5]


def test_seams_in_a_circle_are_refused():
    land = np.zeros(2, np.int32)
    with pytest.raises(ArithmeticError, match="circle"):
        Forest.grown(np.array([2, 1]), land, land, 1)


def put_in(run, *, tiles=KeptTiles):
    """Steps and tiles that a run writes."""
    written = []
    put = tiles.put

    def noted(self, step, number, arrays):
        written.append((step.partition("-")[0], number))
        put(self, step, number, arrays)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(tiles, "put", noted)
        run()
    return written


@pytest.fixture
def varied(tmp_path, write_raster):
    random = np.random.default_rng(6)
    heights = np.round(random.normal(size=(40, 50)).cumsum(0).cumsum(1) / 4)
    return lambda **more: district_in(tmp_path / "here", write_raster, heights, **{
        "parcels": [at(3, 4, 20, 22), at(20, 4, 45, 22), at(10, 22, 30, 38)],
        "cover": [(at(0, 0, 25, 18), "woods, good")],
        "roads": [(line((1, 30), (48, 9)), "lane", 2.0, "gravel road")],
        "roofs": [at(22, 6, 26, 9)], **more})


def test_a_second_run_makes_nothing_anew(varied, tmp_path):
    folder, tiles = varied(), tmp_path / "tiles"
    first = []
    assert len(put_in(lambda: first.append(tiled(open_district(folder, tiles, 16))))) > 60
    assert put_in(lambda: first.append(tiled(open_district(folder, tiles, 16)))) == []
    assert first[0] == first[1]


@pytest.mark.parametrize("harm", ["spoilt", "gone"])
def test_kinds_that_are_spoilt_later_are_made_anew(varied, tmp_path, harm):
    folder, tiles = varied(), tmp_path / "tiles"
    opened = open_district(folder, tiles, 16)
    first = tiled(opened)
    path = tiles / f"kinds-{opened.kept.ground}" / "0000003.tile"
    held = path.read_bytes()
    if harm == "gone":
        path.unlink()
    else:
        path.write_bytes(bytes([held[0] ^ 4]) + held[1:])
    again = []
    assert put_in(lambda: again.append(tiled(open_district(folder, tiles, 16)))) == [("kinds", 3)]
    assert again == [first]
    assert path.read_bytes() == held


def renewed(varied, tmp_path, **more):
    """Steps that are made anew when layers change, each for every tile."""
    tiles = tmp_path / "tiles"
    tiled(open_district(varied(), tiles, 16))
    raster = tmp_path / "here" / "ground.tif"
    kept, times = raster.read_bytes(), raster.stat()
    folder = varied(**more)
    raster.write_bytes(kept)
    os.utime(raster, ns=(times.st_atime_ns, times.st_mtime_ns))
    written = put_in(lambda: check(folder, tiles, 16))
    return {step for step, _ in written}


def test_other_parcels_renew_only_what_rests_on_them(varied, tmp_path):
    found = renewed(varied, tmp_path, parcels=[at(5, 5, 30, 30)])
    assert found == {"seams", "labelled", "counted", "waters"}


def test_another_cover_renews_only_what_rests_on_it(varied, tmp_path):
    found = renewed(varied, tmp_path, cover=[(at(0, 0, 25, 18), "pasture, poor")])
    assert found == {"kinds", "labelled", "counted", "waters"}


def test_other_names_renew_nothing(varied, tmp_path):
    folder, tiles = varied(), tmp_path / "tiles"
    tiled(open_district(folder, tiles, 16))
    found = geopandas.read_file(folder / "parcels.fgb")
    layer(folder / "parcels.fgb", found.geometry, name=["north", "east", "south"])
    opened = []
    assert put_in(lambda: opened.append(open_district(folder, tiles, 16))
                  or waters(opened[0])) == []
    assert [parcel.name for parcel in opened[0].parcels] == ["north", "east", "south"]


#: Makes the waters of a district, and is killed by the system at the write whose number is given.
KILLED = """
import os, signal, sys
from pathlib import Path
from terrain.district.opened import open_district
from terrain.district.waters import waters
from terrain.surface.tiled.kept_tiles import KeptTiles
left = int(sys.argv[3])
put = KeptTiles.put
def put_once_more(self, *given):
    global left
    left -= 1
    if left == 0:
        os.kill(os.getpid(), signal.SIGKILL)
    put(self, *given)
KeptTiles.put = put_once_more
waters(open_district(Path(sys.argv[1]), Path(sys.argv[2]), 16))
"""


@pytest.mark.parametrize("task", [55, *(pytest.param(task, marks=pytest.mark.slow)
                                         for task in (5, 75))])
def test_a_killed_run_goes_on_where_it_was(varied, tmp_path, task):
    folder, tiles = varied(), tmp_path / "tiles"
    done = subprocess.run([sys.executable, "-c", KILLED, folder, tiles, str(task)], check=False)
    assert done.returncode == -signal.SIGKILL
    left = {path: path.stat().st_mtime_ns for path in tiles.rglob("*.tile")}
    assert len(left) == task - 1
    check(folder, tiles, 16)
    again = [path for path in left if path.stat().st_mtime_ns != left[path]]
    assert all("labelled-rest" in path.parent.name for path in again)  # one write for all tiles


def test_on_two_workers(varied, tmp_path):
    with engine(workers=2) as workers:
        check(varied(), tmp_path / "tiles", 16, workers.run)


def test_a_gap_of_a_layer_is_a_fault_of_the_parcels_below_it(varied, tmp_path):
    """The soil layer ends in the middle: by hand, ground of a plane east of it lacks a group."""
    folder = varied()
    text = (folder / "district.yaml").read_text().replace(", otherwise: C}", "}")
    (folder / "district.yaml").write_text(text)
    opened = open_district(folder, tmp_path / "tiles", 16)
    _, found, _ = waters(opened)
    answers, _ = brute_force(folder)
    assert [bool(one.fault) for one in found] == [answer[4] for answer in answers]
    [fault] = {one.fault.partition("about")[0] for one in found if one.fault}
    assert fault == "the soil layer says nothing "
    assert "otherwise: under soils" in found[1].fault
    place = found[1].fault.partition("such as at ")[2].split(". State")[0].split(". Add")[0]
    x, y = map(float, place.split(", "))
    assert WEST + 25 < x < WEST + 50
    assert NORTH - 40 < y < NORTH


def test_a_gap_far_up_the_slope_is_told_with_its_place(slope, tmp_path):
    """By hand: soil is told of below the second row only, and the lot's own ground is known."""
    layer(slope / "soils.fgb", [at(0, 2, 9, 12)], group=["B"])
    text = (slope / "district.yaml").read_text().replace(", otherwise: C}", "}")
    (slope / "district.yaml").write_text(text)
    _, found, _ = waters(open_district(slope, tmp_path / "tiles", 4))
    assert found[0].fault.startswith("the soil layer says nothing about 12 m²")
    assert f"such as at {WEST + 1.5}, {NORTH - 0.5}. Add polygons there" in found[0].fault


def test_a_road_of_one_name_lies_under_those_drawn_after_its_first_part(varied, tmp_path):
    """As `read_ground` has it, in every tile, though some tiles see its last part alone."""
    roads = [(line((1, 2), (8, 2)), "lane", 2.0, "gravel road"),
             (line((30, 2), (30, 38)), "track", 4.0, "dirt road"),
             (line((20, 25), (48, 25)), "lane", 4.0, "gravel road")]
    opened = check(varied(roads=roads, parcels=[at(20, 15, 45, 35)]), tmp_path / "tiles", 16)
    kinds, [water], _ = waters(opened)
    assert np.isclose(water.own[kinds.road].sum(), 4 * 20 + 4 * 25 - 16)


@pytest.mark.parametrize("cell", [0.9144, 1 / 3])
def test_edges_through_the_middles_of_cells_part_no_tiles(tmp_path, write_raster, cell):
    """Cells of 3 ft and of a third of a metre, outlines at their middles: whatever the cut."""
    random = np.random.default_rng(5)
    heights = (90 - 0.3 * np.indices((70, 64))[0] + random.normal(0, 0.4, (70, 64))).cumsum(1)
    edges = [(1.5, 2.5, 20.5, 60.5), (20.5, 2.5, 41.5, 33.5), (20.5, 33.5, 60.5, 66.5)]
    folder = district_in(tmp_path / "here", write_raster, heights,
                         [at(*(cell * corner for corner in one)) for one in edges],
                         cover=[(at(0, 0, 30.5 * cell, 40.5 * cell), "woods, good")], cell=cell)
    found = []
    for side in (1000, 17, 23):
        kinds, water, _ = waters(open_district(folder, tmp_path / f"tiles {side}", side))
        found.append([(kinds.number.tolist(), one.own.tolist(), one.run_on.tolist(),
                       one.entries.tolist(), one.through.tolist()) for one in water])
    assert found[0] == found[1] == found[2]
    assert sum(sum(one[1]) for one in found[0]) > 2500 * cell**2
