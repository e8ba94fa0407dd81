"""A district opened: parcels as people draw them, layers copied, tiles that are another's."""

import json
import pickle

import geopandas
import numpy as np
import pytest
import shapely
from shapely import LineString, Point, Polygon, box

from terrain.district.copies import condensed
from terrain.district.footprints import set_apart
from terrain.district.kept_layers import lands
from terrain.district.opened import open_district
from terrain.district.waters import waters
from terrain.errors import InputError
from terrain.inputs.district import read_district
from terrain.plan.siting.reading import open_ground
from terrain.runoff.ground import read_ground
from terrain.surface.conditioning import Conditioning
from terrain.surface.culverts import read_culverts
from terrain.surface.terrain import Terrain
from terrain.surface.tiled.grid import Window

WEST, NORTH = 500000.0, 6400000.0
CRS = "EPSG:32734"
TEXT = """\
name: Somewhere
elevation: {file: ground.tif}
parcels: {file: parcels.gpkg}
cover: {file: cover.gpkg, otherwise: bare soil}
soils: {file: soils.gpkg, otherwise: C}
rain: {storms: [{name: big, depth: 50 mm}]}
"""


def at(x0, y0, x1, y1):
    return box(WEST + x0, NORTH - y1, WEST + x1, NORTH - y0)


def layer(path, shapes, **columns):
    path.unlink(missing_ok=True)
    geopandas.GeoDataFrame(columns, geometry=list(shapes), crs=CRS).to_file(path)


@pytest.fixture
def folder(tmp_path, write_raster):
    """An even slope of 60 by 40 cells of a metre; three lots."""
    here = tmp_path / "here"
    here.mkdir()
    heights = 50 - 0.1 * np.indices((60, 40))[0] + 0.01 * np.indices((60, 40))[1]
    write_raster(here / "ground.tif", heights.astype(np.float32))
    parcels(here, [at(2, 2, 20, 30), at(20, 2, 38, 30), at(2, 30, 38, 58)])
    layer(here / "cover.gpkg", [at(0, 0, 40, 20)], cover=["woods, good"])
    layer(here / "soils.gpkg", [at(0, 0, 20, 60)], group=["B"])
    (here / "district.yaml").write_text(TEXT)
    return here


def parcels(folder, shapes, names=None, **columns):
    layer(folder / "parcels.gpkg", shapes,
          name=names or [f"lot {i}" for i in range(1, len(shapes) + 1)], **columns)


def says(folder, text):
    (folder / "district.yaml").write_text(TEXT + text)


def opened(folder, side=16):
    return open_district(folder, folder.parent / "tiles", side)


def refused(folder, *words):
    with pytest.raises(InputError) as caught:
        opened(folder)
    for word in words:
        assert word in str(caught.value)


def test_what_is_opened_is_what_tasks_need(folder):
    found = opened(folder)
    assert [parcel.name for parcel in found.parcels] == ["lot 1", "lot 2", "lot 3"]
    assert found.files.shape == (60, 40)
    assert not found.faults
    again = pickle.loads(pickle.dumps(found))
    assert again.district.where("cover") == f"{folder / 'district.yaml'} line 4"
    assert np.array_equal(again.work.heights(Window(0, 60, 0, 40)), found.files.read().heights)
    assert any("taken as bare soil" in note for note in found.notes)


def test_overlapping_parcels_are_the_first_ones_and_said_so(folder):
    parcels(folder, [at(2, 2, 20, 30), at(10, 2, 30, 30), at(3, 3, 9, 9), at(29.95, 2, 38, 30)])
    found = opened(folder)
    assert any("2 pairs of parcels overlap" in note for note in found.notes)
    assert set(found.told) == {2, 3}
    [said] = found.told[2]
    assert "280 m²" in said
    assert "50 %" in said
    assert '"lot 1"' in said
    land = lands(found.kept.parcels, found.values.lattice(Window(0, 60, 0, 40)))
    assert np.bincount(land.ravel())[1:].tolist() == [18 * 28, 10 * 28, 0, 8 * 28]
    _, water, _ = waters(found)
    assert water[1].notes == (said,)
    assert "an earlier parcel" in water[2].fault
    assert not water[0].fault
    assert not water[-1].fault


def test_parcels_off_the_ground_stay_with_a_fault(folder):
    parcels(folder, [at(-30, 2, -10, 20), at(2, 2, 20, 30), at(30, 2, 50, 20), at(3.1, 31.1, 3.4,
                                                                                 31.4)])
    found = opened(folder)
    assert found.faults == {1: "it lies off ground.tif"}
    assert any("1 of 4 parcels lies off ground.tif" in note for note in found.notes)
    assert "180 m²" in found.told[3][0]
    assert "50 %" in found.told[3][0]
    _, water, _ = waters(found)
    assert [bool(one.fault) for one in water] == [True, False, False, True]
    assert "no cell" in water[3].fault  # it is smaller than a cell
    assert water[2].at_least


def test_parcels_none_of_which_lies_on_the_ground_are_refused(folder):
    parcels(folder, [at(500, 2, 520, 30), at(520, 2, 538, 30)])  # the ground is 40 m wide
    refused(folder, "not one of its 2 parcels lies on ground.tif", "460.0 m", "coordinate system")


@pytest.mark.parametrize(("names", "word"), [
    (["a", "b", "a"], '1 name in the column name is given to more than one parcel: "a" (features '
                      "1, 3)"),
    (["a", None, "c"], "the name of 1 feature is empty: 2"),
    (["a", " ", None], "the name of 2 features is empty: 2, 3")])
def test_names_that_tell_no_parcel_are_refused(folder, names, word):
    parcels(folder, [at(2, 2, 9, 9), at(12, 2, 19, 9), at(22, 2, 29, 9)], names)
    refused(folder, "parcels.gpkg", word)


def test_all_names_used_twice_are_told_at_once(folder):
    names = [*"abcd", "lone", *"abcd", *"aa"]
    parcels(folder, [at(i, 2, i + 1, 9) for i in range(len(names))], names)
    refused(folder, "4 names in the column name are given to more than one parcel",
            '"a" (features 1, 6, 10 and more), "b" (features 2, 7), "c" (features 3, 8) and 1 more')


def test_numbers_are_names_too(folder):
    parcels(folder, [at(2, 2, 9, 9), at(12, 2, 19, 9)], [101.0, 102.0])
    says(folder, "pages: [102]\n")
    assert [(one.name, one.page) for one in opened(folder).parcels] == [("101", False),
                                                                        ("102", True)]


#: Shapes that are no areas, and what is said of each.
NO_AREAS = {
    "a point": (Point(WEST + 30.5, NORTH - 50.5), "a point, not an area"),
    "a line": (LineString([(WEST + 25, NORTH - 50), (WEST + 35, NORTH - 50)]), "does not close"),
    "none": (None, "has no shape"), "an empty one": (Polygon(), "has no shape"),
    "flat": (Polygon([(WEST, NORTH), (WEST + 9, NORTH - 9), (WEST + 4, NORTH - 4)]),
             "encloses no ground"),
    "without coordinates": (Point(np.inf, NORTH), "no coordinates")}


@pytest.mark.parametrize("name", NO_AREAS)
def test_a_shape_that_is_no_area_is_a_fault_of_its_parcel_alone(folder, name):
    """The last crosses itself: by hand, two triangles of 8 m2 stay of it."""
    shape, fault = NO_AREAS[name]
    bow = Polygon([(WEST + x, NORTH - y) for x, y in ((22, 2), (30, 10), (30, 2), (22, 10))])
    parcels(folder, [at(2, 2, 9, 9), shape, at(12, 2, 19, 9), bow], page=["yes", None, "yes", None])
    found = opened(folder)
    assert list(found.faults) == [2]
    assert fault in found.faults[2]
    assert any("1 of 4 parcels has no outline" in note for note in found.notes)
    assert any("feature 4: its outline is faulty" in note for note in found.notes)
    assert [one.area for one in found.parcels] == pytest.approx([49, 0, 49, 32])
    _, water, _ = waters(found)
    assert [bool(one.fault) for one in water] == [False, True, False, False]
    assert water[1].fault == found.faults[2]
    assert [water[i].own.sum() for i in (0, 1, 2)] == [49, 0, 49]


def test_parcels_of_another_system_without_a_shape(folder):
    """Moved as those of a layer that is whole, to the last bit."""
    shapes = geopandas.GeoSeries([at(2, 2, 9, 9), at(12, 2, 19, 9)], crs=CRS).to_crs("EPSG:4326")
    path = folder / "parcels.gpkg"
    outlines = []
    for given in (list(shapes), [shapes[0], None]):
        path.unlink()
        geopandas.GeoDataFrame({"name": ["a", "b"]}, geometry=given, crs="EPSG:4326").to_file(path)
        outlines.append(opened(folder).parcels[0].outline)
    assert outlines[0].equals(outlines[1])
    assert outlines[0].symmetric_difference(at(2, 2, 9, 9)).area < 1e-3


def test_parcels_none_of_which_is_an_area_are_refused(folder):
    parcels(folder, [Point(WEST + 5, NORTH - 5), Point(WEST + 6, NORTH - 5)])
    refused(folder, "parcels.gpkg", "no feature of it is an area", "a point, not an area")
    parcels(folder, [None, Polygon()])
    refused(folder, "parcels.gpkg, feature 1", "it has no shape")


def test_of_parcels_that_overlap_parts_count(folder):
    """By hand, in m2: cut to the raster of 40 by 60 m, less what lies in parcels before it."""
    parcels(folder, [at(-10, 2, 20, 30), at(10, 2, 50, 30), at(15, 20, 25, 40), at(20, 40, 30, 50),
                     at(19.99, 31, 30, 39)])
    found = opened(folder)
    assert {number: part.area for number, part in found.parts.items()} == pytest.approx(
        {1: 20 * 28, 2: 20 * 28, 3: 10 * 10, 5: 10.01 * 8 - 5.01 * 8})
    counted = [found.parts.get(one.number, one.outline) for one in found.parcels]
    whole = shapely.union_all([one.outline for one in found.parcels]) & at(0, 0, 40, 60)
    assert sum(part.area for part in counted) == pytest.approx(whole.area)


def test_pages_by_name_and_by_the_layer(folder):
    parcels(folder, [at(2, 2, 9, 9), at(12, 2, 19, 9), at(22, 2, 29, 9)],
            page=["Yes", None, "no"])
    says(folder, "pages: [lot 3]\n")
    assert [one.page for one in opened(folder).parcels] == [True, False, True]
    says(folder, "pages: [lot 33]\n")
    refused(folder, "line 7", 'no parcel "lot 33"', 'Perhaps "lot 3" was meant')
    parcels(folder, [at(2, 2, 9, 9)], page=["perhaps"])
    says(folder, "")
    refused(folder, "feature 1", "'perhaps' is neither yes nor no")


def test_layers_are_copied_once_and_anew_when_their_file_changes(folder):
    first = opened(folder)
    copies = folder.parent / "tiles" / "layers"
    def times():
        return {path.relative_to(copies): path.stat().st_mtime_ns for path in copies.rglob("*.*")}
    before = times()
    assert {path.name for path in before} == {"cover.fgb", "soils.fgb", "parcels.fgb",
                                              "ground.json", "parcels.json"}
    assert opened(folder).kept == first.kept
    assert times() == before
    layer(folder / "soils.gpkg", [at(0, 0, 20, 60)], group=["A"])
    other = opened(folder)
    assert other.kept.ground != first.kept.ground
    assert other.kept.outlines == first.kept.outlines
    assert other.kept.parcels == first.kept.parcels
    after = times()
    assert len(after) == len(before) + 3
    assert {path: after[path] for path in before} == before


def test_one_class_and_one_group_for_all_ground_need_no_layer(folder):
    """Bare soil on C: 91 (TR-55, 1986, table 2-2b, fallow)."""
    (folder / "district.yaml").write_text(TEXT.replace("file: cover.gpkg, ", "").replace(
        "file: soils.gpkg, ", ""))
    found = opened(folder)
    copies = folder.parent / "tiles" / "layers"
    assert {path.name for path in copies.rglob("*.fgb")} == {"parcels.fgb"}
    assert opened(folder).kept == found.kept
    assert "Soils: no layer is named; all ground was taken as group C." in found.kept.notes
    kinds, water, _ = waters(found)
    assert len(water) == 3
    assert set(kinds.number[np.sum([one.own for one in water], axis=0) > 0]) == {91}


def test_a_run_under_way_reads_its_own_copies(folder):
    """Another run with another cover and other parcels comes between, in the same folder; by
    hand, 18 m by 28 m of woods in good condition, soil B in the west: 55 (TR-55, 1986, table
    2-2c), bare soil on B 86 (table 2-2a)."""
    first = opened(folder)
    layer(folder / "cover.gpkg", [at(0, 0, 40, 60)], cover=["bare soil"])
    parcels(folder, [at(2, 2, 12, 30)])
    kinds, water, _ = waters(opened(folder))
    assert kinds.number[water[0].own > 0].tolist() == [86]
    kinds, water, _ = waters(first)
    assert len(water) == 3
    own = dict(zip(kinds.number.tolist(), water[0].own.tolist(), strict=True))
    assert own[55] == 18 * 18
    assert own[86] == 18 * 10


@pytest.mark.parametrize("harm", ["spoilt", "gone", "no seal", "a seal of something else"])
def test_a_spoilt_copy_is_made_anew(folder, harm):
    first = opened(folder)
    copies = folder.parent / "tiles" / "layers"
    [copy], [seal] = copies.glob("*/cover.fgb"), copies.glob("*/ground.json")
    held = copy.read_bytes()
    if harm == "spoilt":
        copy.write_bytes(held[:-20] + b"x" * 20)
    elif harm == "a seal of something else":
        seal.write_text(json.dumps([1]))
    else:
        (copy if harm == "gone" else seal).unlink()
    assert opened(folder).kept == first.kept
    assert copy.read_bytes() == held


def test_a_copy_that_could_not_be_written_leaves_the_old_one(folder, monkeypatch):
    opened(folder)
    copies = folder.parent / "tiles" / "layers"
    held = {path: path.read_bytes() for path in copies.rglob("*.*")}
    layer(folder / "cover.gpkg", [at(0, 0, 40, 10)], cover=["bare soil"])

    def full(*given, **more):
        raise OSError(28, "No space left on device")
    with monkeypatch.context() as patch:
        patch.setattr("pyogrio.write_dataframe", full)
        refused(folder, "cannot be written", "No space left")
    assert {path: path.read_bytes() for path in copies.rglob("*.*")} == held
    assert opened(folder).kept.ground


def test_a_class_that_is_not_known_is_told_by_the_owners_file_and_feature(folder):
    layer(folder / "cover.gpkg", [at(0, 0, 9, 9), at(90, 90, 99, 99)],
          cover=["bare soil", "moonscape"])
    refused(folder, "line 4, cover.gpkg, feature 2", "moonscape")


def test_parts_of_the_copies_are_parts_of_the_layers(folder):
    """Read by `read_ground` from the copies in a window, and from the files on the whole."""
    layer(folder / "cover.gpkg", [at(0, 0, 40, 20), at(5, 5, 15, 45)],
          cover=["woods, good", "veld"], impervious=[0, 30])
    layer(folder / "yard.gpkg", [at(30, 10, 36, 50)], cover=["bare soil"], impervious=[None])
    layer(folder / "roads.gpkg", [LineString([(WEST + 1, NORTH - 1), (WEST + 39, NORTH - 50)])],
          width=["13 ft"])
    layer(folder / "roofs.gpkg", [at(20, 20, 26, 25)], material=["thatch"])
    says(folder, "roads: {file: roads.gpkg}\nroofs: {file: roofs.gpkg, efficiency: 0.8}\n")
    text = (folder / "district.yaml").read_text()
    (folder / "district.yaml").write_text(text.replace("otherwise: bare soil", "otherwise: bare "
                                                       'soil, classes: {veld: "pasture, fair"}, '
                                                       "drawn: {file: yard.gpkg}"))
    given = read_district(folder)
    whole = open_ground(given).read()
    expected = read_ground(given, whole, box(*whole.bounds))
    assert np.unique(expected.curve_number).size > 7
    found = opened(folder)
    for window in (Window(0, 60, 0, 40), Window(13, 31, 9, 33), Window(50, 60, 2, 11)):
        dem = found.values.dem(window)
        part = read_ground(found.district, dem, box(*dem.bounds))
        assert np.array_equal(part.curve_number, expected.curve_number[
            window.top:window.bottom, window.left:window.right])
    assert not [note for note in found.notes if "% of the raster" in note]


def test_footprints_over_each_other_are_merged_or_trimmed_and_told(folder):
    layer(folder / "roofs.gpkg", [at(2, 2, 12, 12), at(3, 3, 13, 13), at(12, 6, 22, 10),
                                  at(5, 5, 6, 6), at(30, 30, 34, 34)],
          name=["barn", "barn", None, "cote", "barn"])
    says(folder, "roofs: {file: roofs.gpkg}\n")
    found = opened(folder)
    dem = found.files.read()
    roofs = {roof.name: roof for roof in read_ground(found.district, dem,
                                                     box(*dem.bounds)).roofs}
    assert list(roofs) == ["barn", "roof 3", "barn (5)"]
    assert roofs["barn"].area == pytest.approx(119)
    assert roofs["roof 3"].area == pytest.approx(36)
    assert any("2 of them shared more than half of another and were merged with it; 1 lost what "
               "lay in an earlier one, 4 m²" in note for note in found.notes)
    assert any("2 roofs have the name of another" in note for note in found.notes)


def test_footprints_set_apart_share_nothing_and_cover_the_same(folder):
    random = np.random.default_rng(4)
    corner, size = random.uniform(0, 40, (60, 2)), random.uniform(2, 9, (60, 2))
    shapes = np.array([box(*low, *(low + far)) for low, far in zip(corner, size, strict=True)])
    found = set_apart(shapes)
    assert found.merged
    assert found.trimmed
    whole = shapely.union_all(shapes)
    lost = whole.area - shapely.area(found.shapes).sum()
    assert -1e-9 < lost < 0.5 * found.gone + 1e-9
    one, other = shapely.STRtree(found.shapes).query(found.shapes, predicate="intersects")
    shared = shapely.area(shapely.intersection(found.shapes[one], found.shapes[other]))
    assert shared[one != other].max(initial=0) < 1e-9
    assert shapely.is_valid(found.shapes).all()
    assert len(found.shapes) + found.merged + found.gone == 60


@pytest.mark.parametrize(("shapes", "more", "words"), [
    ([at(2, 2, 9, 9), LineString([(WEST, NORTH), (WEST + 5, NORTH - 5)])], {},
     ["feature 2", "a roof is an area"]),
    ([at(2, 2, 9, 9)], {"efficiency": ["most"]}, ["feature 1", "'most' is not between 0 and 1"])])
def test_roofs_that_cannot_be_used_are_refused(folder, shapes, more, words):
    layer(folder / "roofs.gpkg", shapes, **(more or {"kind": ["x"] * len(shapes)}))
    says(folder, "roofs: {file: roofs.gpkg}\n")
    refused(folder, "roofs.gpkg", *words)


def test_culverts_lead_water_as_on_the_whole_ground(folder, write_raster):
    heights = 50 - 0.1 * np.indices((60, 40))[0]
    heights[28:31] += 2.0
    (folder / "ground.tif").unlink()
    write_raster(folder / "ground.tif", heights.astype(np.float32))
    layer(folder / "culverts.gpkg", [LineString([(WEST + 12, NORTH - 26), (WEST + 12,
                                                                           NORTH - 34)])])
    says(folder, "culverts: {file: culverts.gpkg}\n")
    found = opened(folder)
    district, dem = read_district(folder), found.files.read()
    terrain = Terrain(dem, Conditioning(culverts=read_culverts(district.culverts, folder, dem,
                                                               "culverts")))
    _, water, _ = waters(found)
    for parcel, one in zip(found.parcels, water, strict=True):
        x, y = dem.xy(*np.indices(dem.shape))
        inside = shapely.contains_xy(parcel.outline, x, y)
        assert one.own.sum() == inside.sum()
        assert one.run_on.sum() == (terrain.catchment(inside) & ~inside).sum()
    assert any("led through 1 culvert" in note for note in found.notes)
    layer(folder / "culverts.gpkg", [LineString([(WEST + 12, NORTH - 26), (WEST + 90,
                                                                           NORTH - 34)])])
    refused(folder, "culverts.gpkg", "feature 1", "lies")


def test_tiles_of_another_ground_are_refused(folder, write_raster):
    opened(folder)
    with pytest.raises(InputError, match="Name another folder"):
        opened(folder, 17)
    (folder.parent / "tiles" / "owner.json").unlink()
    refused(folder, "holds files that are no tiles", "empty folder")


def test_a_plan_in_feet_without_a_system_is_refused(folder, write_raster):
    (folder / "ground.tif").unlink()
    write_raster(folder / "ground.tif", np.ones((9, 9), np.float32), crs=None, unit=None)
    text = (folder / "district.yaml").read_text()
    (folder / "district.yaml").write_text(text.replace("ground.tif", "ground.tif, plan unit: ft, "
                                                       "height unit: ft"))
    refused(folder, "line 2, elevation", "no coordinate system")


def test_notes_that_say_the_same_of_many_are_few():
    notes = [f'The road "road {i}" has no width; 3.5 m (11 ft) was assumed.' for i in range(500)]
    said = condensed([*notes, "Something else."])
    assert len(said) == 5
    assert "497 more" in said[3]
    assert said[4] == "Something else."


def test_parts_far_from_any_polygon_are_read_too(folder, write_raster):
    """A copy gives a part no feature at all there, though the layer states shares of paving."""
    (folder / "ground.tif").unlink()
    write_raster(folder / "ground.tif", np.tile(np.arange(400, 0, -1, dtype=np.float32), (9, 1)))
    layer(folder / "cover.gpkg", [at(0, 0, 9, 9)], cover=["pasture, fair"], impervious=[10])
    layer(folder / "soils.gpkg", [at(0, 0, 9, 9)], group=["B"])
    parcels(folder, [at(300, 0, 330, 9)])
    kinds, water, _ = waters(opened(folder, 150))
    assert water[0].own.sum() == 270
    assert kinds.number[water[0].own > 0].tolist() == [91]  # bare soil on C: TR-55, table 2-2b
