"""Land-cover rasters of public class lists, areas partly roofed or paved, and drawn areas."""

import geopandas
import numpy as np
import pytest
import rasterio
from pyproj import CRS
from rasterio.transform import Affine
from shapely.geometry import LineString, box

from terrain.errors import InputError
from terrain.inputs.cover_codes import code_lists
from terrain.inputs.elevation import Dem
from terrain.inputs.frame import Frame, in_metres
from terrain.inputs.ground_cover import cover_cells
from terrain.inputs.site import Cover, read_site
from terrain.runoff.cover import paver, published_classes

LEFT, TOP = 512300.0, 6250000.0
CLASSES = published_classes()
# Codes as their makers list them: the 10 m global set as published with it, the 30 m set of the
# USA from memory, its no-data codes 0, 127 and 250 included.
PUBLIC = {"worldcover": {0, 10, 20, 30, 40, 50, 60, 70, 80, 90, 95, 100},
          "nlcd": {0, 127, 250, 11, 12, 21, 22, 23, 24, 31, 41, 42, 43, 51, 52, 71, 72, 73, 74, 81,
                   82, 90, 95}}


@pytest.fixture
def dem():
    """Ten by four cells of 2 m; a cover raster of 4 m cells lies five by two on it."""
    crs = CRS.from_user_input("EPSG:32734")
    return Dem(np.zeros((4, 10), np.float32), LEFT, TOP, 2.0, Frame(crs, in_metres(crs)),
               "hill.tif")


def coded(folder, codes, nodata=None):
    codes = np.asarray(codes, "uint8")
    with rasterio.open(folder / "codes.tif", "w", driver="GTiff", height=codes.shape[0],
                       width=codes.shape[1], count=1, dtype="uint8", crs="EPSG:32734",
                       transform=Affine(4, 0, LEFT, 0, -4, TOP), nodata=nodata) as file:
        file.write(codes, 1)


def taken(folder, dem, **more):
    """Class of each cell of the cover raster, and the notes."""
    cells, names, notes = cover_cells(Cover(file="codes.tif", **more), folder, dem, tuple(CLASSES),
                                      "cover")
    return [[names[cell] if cell >= 0 else "" for cell in row] for row in cells[::2, ::2]], notes


# --- public lists --------------------------------------------------------------------------------

def test_every_public_code_is_listed_and_none_besides():
    assert {name: {int(code) for code in codes} for name, codes in code_lists().items()} == PUBLIC


def test_a_code_stands_for_a_published_class_or_asks_or_is_not_known():
    for codes in code_lists().values():
        for code in codes.values():
            assert code.use in ("class", "no data", "ask")
            assert (code.cover in CLASSES) == (code.use == "class")


def test_no_code_of_denser_building_sheds_less():
    # Developed land of the 30 m list: 21 open space, 22 low, 23 medium, 24 high intensity.
    numbers = np.array([CLASSES[code_lists()["nlcd"][str(code)].cover].curve_numbers
                        for code in (21, 22, 23, 24)])
    assert (np.diff(numbers, axis=0) > 0).all()


def test_a_raster_of_the_ten_metre_list(tmp_path, dem):
    coded(tmp_path, [[20, 20, 20, 60, 80], [20, 20, 20, 10, 0]])
    found, notes = taken(tmp_path, dem, codes="worldcover")
    shrub = "desert shrub, fair"
    assert found == [[shrub] * 3 + ["bare soil", "open water"], [shrub] * 3 + ["woods, fair", ""]]
    told = next(note for note in notes if "of the codes of worldcover" in note)
    # ten cells of cover, six of them shrub, one of each other code
    assert "20 (shrubland) as desert shrub, fair on 60.0 %" in told
    assert "80 (permanent water bodies) as open water on 10.0 %" in told
    assert "0 (no data) as not known on 10.0 %" in told
    assert "common practice, no source" in told
    assert "drawn polygons or a finer layer would be better" in told
    assert any("10.0 % of the raster has no cover class" in note for note in notes)


@pytest.mark.parametrize("code", [0, 127, 250])
def test_codes_of_no_data_are_taken_as_otherwise(tmp_path, dem, code):
    coded(tmp_path, [[52, 52, 52, 52, code]] * 2)
    assert taken(tmp_path, dem, codes="nlcd")[0][0] == ["desert shrub, fair"] * 4 + [""]
    found, notes = taken(tmp_path, dem, codes="nlcd", otherwise="pasture, fair")
    assert found[1] == ["desert shrub, fair"] * 4 + ["pasture, fair"]
    assert any("20.0 % of the raster" in note and "pasture, fair" in note for note in notes)


def test_classes_overrule_single_codes(tmp_path, dem):
    coded(tmp_path, [[71, 71, 12, 42, 0]] * 2)
    found, notes = taken(tmp_path, dem, codes="nlcd", classes={
        71: "pasture, poor", "12": "bare soil", "0": "roof or paving"})
    assert found[0] == ["pasture, poor"] * 2 + ["bare soil", "woods, fair", "roof or paving"]
    assert any("71 (grassland or herbaceous) as pasture, poor (as 'classes:' says) on 40.0 %"
               in note for note in notes)


def test_codes_that_no_class_fits_are_asked_for(tmp_path, dem):
    coded(tmp_path, [[52, 12, 90, 52, 99]] * 2)
    with pytest.raises(InputError) as caught:
        taken(tmp_path, dem, codes="nlcd")
    assert str(caught.value).startswith(
        "cover, codes.tif: its codes 12 (perennial ice or snow), 90 (woody wetlands), 99 have no "
        "class.")
    assert "'classes:', e.g. \"12\": bare soil" in caught.value.remedy


def test_a_raster_with_neither_list_nor_classes(tmp_path, dem):
    coded(tmp_path, [[52, 41, 52, 52, 52]] * 2)
    with pytest.raises(InputError, match=r"codes\.tif: its codes 41, 52 have no class"):
        taken(tmp_path, dem)


def test_a_list_of_codes_is_for_rasters(tmp_path, dem):
    areas(tmp_path, cover=["bare soil"])
    with pytest.raises(InputError, match=r"the cells of a raster mean, and cover\.gpkg is none"):
        cover_cells(Cover(file="cover.gpkg", codes="nlcd"), tmp_path, dem, tuple(CLASSES), "cover")


# --- roofs and paving within an area -------------------------------------------------------------

def areas(folder, **columns):
    """Strips of two cells' width from west to east, one a value."""
    count = len(next(iter(columns.values())))
    shapes = [box(LEFT + 4 * n, TOP - 8, LEFT + 4 * (n + 1), TOP) for n in range(count)]
    geopandas.GeoDataFrame(columns, geometry=shapes, crs="EPSG:32734").to_file(
        folder / "cover.gpkg", engine="pyogrio")


def paved(folder, dem, **more):
    """Curve number on group B of each strip, by class; and the notes."""
    known = dict(CLASSES)
    cells, names, notes = cover_cells(Cover(file="cover.gpkg", **more), folder, dem, tuple(known),
                                      "cover", paver(known))
    return [(names[cell], known[names[cell]].curve_numbers[1]) for cell in cells[0, ::2]
            if cell >= 0], notes


def test_columns_of_percentages(tmp_path, dem):
    # TR-55 (1986), figures 2-3 and 2-4; good open space on B is 61 (Table 2-2a).
    areas(tmp_path, cover=["open space, good"] * 5, Impervious=[0, 35, 25, 25, 35],
          UNCONNECTED=[0, 0, 0, 50, 50])
    found, notes = paved(tmp_path, dem)
    assert [number for _, number in found] == pytest.approx(
        [61, 61 + 0.35 * 37, 61 + 0.25 * 37, 61 + 0.25 * 37 * 0.75, 61 + 0.35 * 37])
    assert [name.partition("good")[2] for name, _ in found] == [
        "", ", 35 % impervious", ", 25 % impervious",
        ", 25 % impervious, 50 % of it unconnected", ", 35 % impervious"]
    assert any("features 2, 3, 4, 5 partly roofed or paved were given" in note and "TR-55" in note
               for note in notes)
    assert any("feature 5 was taken as wholly connected" in note and "30 %" in note
               for note in notes)


def test_without_the_columns_nothing_is_paved(tmp_path, dem):
    areas(tmp_path, cover=["open space, good", "desert shrub, fair"])
    found, notes = paved(tmp_path, dem)
    assert found == [("open space, good", 61), ("desert shrub, fair", 72)]
    assert not any("paved" in note for note in notes)


def test_columns_by_other_names_and_numbers_as_text(tmp_path, dem):
    areas(tmp_path, cover=["open space, good"] * 3, hard=["40 %", "10", None])
    found, notes = paved(tmp_path, dem, **{"impervious field": "hard"})
    assert [number for _, number in found] == pytest.approx([61 + 0.4 * 37, 61 + 0.1 * 37, 61])
    assert any("feature 3 without a number in hard was taken as 0 %" in note for note in notes)
    with pytest.raises(InputError, match=r"cover\.gpkg: there is no column 'roofed'"):
        paved(tmp_path, dem, **{"impervious field": "roofed"})


def test_shares_of_one_are_doubted(tmp_path, dem):
    areas(tmp_path, cover=["open space, good"] * 2, impervious=[0.4, 0])
    assert any("taken as percent, not as shares of one" in note
               for note in paved(tmp_path, dem)[1])


@pytest.mark.parametrize(("column", "given", "words"), [
    ("impervious", 120, "'120' is not between 0 and 100"),
    ("impervious", -1, "'-1' is not between 0 and 100"),
    ("impervious", "some", "'some' is not a number"),
    ("unconnected", 100.5, "'100.5' is not between 0 and 100")])
def test_what_is_no_percentage(tmp_path, dem, column, given, words):
    first = "5" if isinstance(given, str) else 5
    areas(tmp_path, cover=["open space, good"] * 2, **{column: [first, given]})
    with pytest.raises(InputError) as caught:
        paved(tmp_path, dem)
    assert str(caught.value).startswith(f"cover, cover.gpkg, feature 2, {column}: {words}")


@pytest.mark.parametrize("name", ["residential, 1/2 acre", "roof or paving", "paved road"])
def test_a_class_with_its_paving_in_it_takes_no_more(tmp_path, dem, name):
    areas(tmp_path, cover=["bare soil", name], impervious=[0, 20])
    with pytest.raises(InputError) as caught:
        paved(tmp_path, dem)
    assert str(caught.value).startswith("cover, cover.gpkg, feature 2, impervious: the curve "
                                        f"numbers of {name} count its roofs, paving")


# --- areas drawn over a layer --------------------------------------------------------------------

YARD, SHRUB, SOIL, POND = "roof or paving", "desert shrub, fair", "bare soil", "open water"


def drew(folder, shapes, file="yard.gpkg", layer=None, **columns):
    """Areas given as columns and rows of the ten by four grid: from west, to east, top, bottom."""
    geopandas.GeoDataFrame(
        columns, geometry=[box(LEFT + 2 * west, TOP - 2 * bottom, LEFT + 2 * east, TOP - 2 * top)
                           for west, east, top, bottom in shapes],
        crs="EPSG:32734").to_file(folder / file, layer=layer or "yards", engine="pyogrio")


def overlaid(folder, dem, **more):
    """Class of every cell of the grid, and the notes."""
    known = dict(CLASSES)
    words = {"file": "codes.tif", "drawn": {"file": "yard.gpkg"}, **more}
    cells, names, notes = cover_cells(Cover.model_validate(words), folder, dem, tuple(known),
                                      "cover", paver(known))
    return np.array([[names[cell] if cell >= 0 else "" for cell in row] for row in cells]), notes


def test_drawn_areas_take_the_place_of_a_raster(tmp_path, dem):
    # Shrub, bare soil, shrub, water, no data from west to east; each is two cells of the grid wide.
    coded(tmp_path, [[20, 60, 20, 80, 0]] * 2)
    # Over shrub and half the soil; across water and no data; the last over a part of the first.
    drew(tmp_path, [(1, 3, 0, 2), (7, 9, 3, 4), (2, 3, 1, 2)],
         cover=["Yard", "bare soil", "dirt road"])
    found, notes = overlaid(tmp_path, dem, codes="worldcover", classes={"yard": YARD})
    s, b, w, y, r = SHRUB, SOIL, POND, YARD, "dirt road"
    assert found.tolist() == [[s, y, y, b, s, s, w, w, "", ""],
                              [s, y, r, b, s, s, w, w, "", ""],
                              [s, s, b, b, s, s, w, w, "", ""],
                              [s, s, b, b, s, s, w, b, b, ""]]
    # 6 cells of 4 m2 are drawn; of the other 34, 7 hold no data
    told = next(note for note in notes if "yard.gpkg" in note)
    assert "24 m²" in told
    assert "15.0 % of the raster, whatever codes.tif says there" in told
    assert told.endswith("67.5 % still rests on the land-cover raster codes.tif.")
    assert any("17.5 % of the raster has no cover class" in note for note in notes)
    # what each code stands for is told of the ground that rests on it: 16 - 2, 8 - 2, 8 - 1 cells
    assert any("20 (shrubland) as desert shrub, fair on 35.0 %" in note
               and "60 (bare or sparse vegetation) as bare soil on 15.0 %" in note
               and "80 (permanent water bodies) as open water on 17.5 %" in note
               for note in notes)


def test_what_neither_says_is_taken_as_otherwise(tmp_path, dem):
    coded(tmp_path, [[20, 20, 20, 20, 0]] * 2)
    drew(tmp_path, [(8, 9, 0, 4)], cover=[YARD])
    found, notes = overlaid(tmp_path, dem, codes="worldcover", otherwise="bare soil")
    assert found.tolist() == [[SHRUB] * 8 + [YARD, SOIL]] * 4
    assert any(note == "Cover: 10.0 % of the raster is neither in codes.tif nor in yard.gpkg; it "
               "was taken as bare soil." for note in notes)


def test_a_code_only_under_drawn_areas_needs_no_class(tmp_path, dem):
    coded(tmp_path, [[20, 20, 90, 20, 20]] * 2)
    drew(tmp_path, [(4, 6, 0, 4)], cover=[POND])
    assert overlaid(tmp_path, dem, codes="worldcover")[0].tolist() == [
        [SHRUB] * 4 + [POND] * 2 + [SHRUB] * 4] * 4
    drew(tmp_path, [(4, 6, 0, 3)], cover=[POND])
    with pytest.raises(InputError, match=r"codes\.tif: its code 90 \(herbaceous wetland\) has no"):
        overlaid(tmp_path, dem, codes="worldcover")


def test_areas_drawn_over_all_of_it(tmp_path, dem):
    coded(tmp_path, [[20] * 5] * 2)
    drew(tmp_path, [(-1, 11, -1, 5)], cover=[SOIL])
    found, notes = overlaid(tmp_path, dem, codes="worldcover")
    assert (found == SOIL).all()
    assert any("100.0 % of the raster, whatever" in note and "; 0.0 % still rests" in note
               for note in notes)
    assert not any("of the codes of" in note for note in notes)


def test_areas_drawn_off_the_raster_change_nothing_and_are_told(tmp_path, dem):
    coded(tmp_path, [[20] * 5] * 2)
    drew(tmp_path, [(20, 22, 0, 4)], cover=[SOIL])
    found, notes = overlaid(tmp_path, dem, codes="worldcover")
    assert (found == SHRUB).all()
    assert "Drawn cover: feature 1 outside hill.tif was not used." in notes


def test_areas_drawn_over_polygons_with_paving_in_both(tmp_path, dem):
    # TR-55 (1986), figure 2-3 and Table 2-2a: good open space on B 61, CN = 61 + P/100 (98 - 61).
    areas(tmp_path, cover=["open space, good"] * 4, impervious=[0, 20, 20, 0])
    drew(tmp_path, [(3, 5, 0, 4)], cover=["open space, good"], impervious=[40])
    known = dict(CLASSES)
    spec = Cover.model_validate({"file": "cover.gpkg", "drawn": {"file": "yard.gpkg"}})
    cells, names, notes = cover_cells(spec, tmp_path, dem, tuple(known), "cover", paver(known))
    numbers = [known[names[cell]].curve_numbers[1] if cell >= 0 else 0 for cell in cells[0]]
    assert (cells == cells[0]).all()
    assert numbers == pytest.approx([61, 61, 68.4, 75.8, 75.8, 68.4, 61, 61, 0, 0])
    assert any(note.startswith("Cover: features 2, 3 partly roofed") for note in notes)
    assert any(note.startswith("Drawn cover: feature 1 partly roofed") for note in notes)
    assert any(note.endswith("60.0 % still rests on cover.gpkg.") for note in notes)


def test_one_layer_of_several_in_another_coordinate_system(tmp_path, dem):
    coded(tmp_path, [[20] * 5] * 2)
    drew(tmp_path, [(0, 10, 0, 4)], layer="other", cover=[POND])
    drew(tmp_path, [(2, 4, 1, 3)], layer="yards", cover=[YARD])
    moved = geopandas.read_file(tmp_path / "yard.gpkg", layer="yards").to_crs("EPSG:4326")
    moved.to_file(tmp_path / "yard.gpkg", layer="moved", engine="pyogrio")
    for layer in ("yards", "moved"):
        found, _ = overlaid(tmp_path, dem, codes="worldcover",
                            drawn={"file": "yard.gpkg", "layer": layer})
        plain = [SHRUB] * 10
        yard = [SHRUB] * 2 + [YARD] * 2 + [SHRUB] * 6
        assert found.tolist() == [plain, yard, yard, plain]


@pytest.mark.parametrize("otherwise", [{}, {"otherwise": "bare soil"}])
@pytest.mark.parametrize(("columns", "words"), [
    ({"cover": [YARD, ""]}, ", feature 2: its cover is empty. Give it a class, or delete it"),
    ({"cover": [YARD, None]}, ", feature 2: its cover is empty."),
    ({"cover": [YARD, "bare soill"]}, ", feature 2: the class 'bare soill' is not known; the "
                                      "nearest are 'bare soil'"),
    ({"cover": [YARD, SOIL], "impervious": [0, 120]},
     ", feature 2, impervious: '120' is not between 0 and 100"),
    ({"kind": [YARD, SOIL]}, ": there is no column 'cover'; it has kind. Name its column of "
                             "classes as the cover layer's is named")])
def test_drawn_areas_that_cannot_be_used(tmp_path, dem, columns, words, otherwise):
    coded(tmp_path, [[20] * 5] * 2)
    drew(tmp_path, [(0, 2, 0, 2), (4, 6, 0, 2)], **columns)
    with pytest.raises(InputError) as caught:
        overlaid(tmp_path, dem, codes="worldcover", **otherwise)
    assert str(caught.value).startswith(f"cover, drawn, yard.gpkg{words}")


def test_drawn_areas_are_polygons_in_a_file_that_is_there(tmp_path, dem):
    coded(tmp_path, [[20] * 5] * 2)
    with pytest.raises(InputError, match=r"cover, drawn, yard\.gpkg: there is no such file"):
        overlaid(tmp_path, dem, codes="worldcover")
    with pytest.raises(InputError, match=r"cover, drawn: codes\.tif is a raster, and drawn areas"):
        overlaid(tmp_path, dem, codes="worldcover", drawn={"file": "codes.tif"})
    lines = geopandas.GeoDataFrame({"cover": [YARD]}, crs="EPSG:32734", geometry=[
        LineString([(LEFT, TOP), (LEFT + 4, TOP - 4)])])
    lines.to_file(tmp_path / "yard.gpkg", engine="pyogrio")
    with pytest.raises(InputError, match=r"drawn, yard\.gpkg, feature 1: it is a line that does"):
        overlaid(tmp_path, dem, codes="worldcover")


def site_file(folder, drawn):
    (folder / "site.yaml").write_text(
        "name: Plane\nelevation:\n  file: hill.tif\nboundary:\n  file: boundary.gpkg\n"
        f"cover:\n  file: codes.tif\n  codes: worldcover\n  drawn: {drawn}\n"
        "soils:\n  file: soils.gpkg\nrain:\n  storms:\n    - name: shower\n      depth: 20 mm\n")
    return read_site(folder / "site.yaml")


def test_the_site_file_names_drawn_areas_and_their_file_is_fingerprinted(tmp_path):
    from terrain.inputs.made_from import fingerprints

    for name in ("hill.tif", "boundary.gpkg", "codes.tif", "soils.gpkg", "yard.gpkg"):
        (tmp_path / name).write_text(name)
    site = site_file(tmp_path, "{file: yard.gpkg, layer: yards}")
    assert (site.cover.drawn.file.name, site.cover.drawn.layer) == ("yard.gpkg", "yards")
    before = fingerprints(site)
    (tmp_path / "yard.gpkg").write_text("drawn anew")
    after = fingerprints(site)
    assert {name for name in after if after[name] != before[name]} == {"yard.gpkg"}


def test_drawn_areas_take_their_columns_from_the_cover(tmp_path):
    with pytest.raises(InputError, match=r"site\.yaml line 9, cover, drawn, field: this field is "
                                         "not known"):
        site_file(tmp_path, "{file: yard.gpkg, field: kind}")
