"""What the site file and the command line may say of elevation."""

import numpy as np
import pytest

from terrain.errors import InputError
from terrain.inputs.site import read_site


def edited(site, words):
    text = site.read_text()
    assert "  file: ground.tif\n" in text
    site.write_text(text.replace("  file: ground.tif\n", words, 1))
    return site


@pytest.mark.slow
def test_tiles_in_the_site_file_give_the_plan_of_the_whole(small_site, levelsill):
    import rasterio

    whole = levelsill("check", small_site)
    ground = small_site.parent / "ground.tif"
    with rasterio.open(ground) as source:
        heights, profile, step = source.read(1), source.profile, source.transform
    tiles = small_site.parent / "tiles"
    tiles.mkdir()
    for name, first, last in (("a", 0, 80), ("b", 70, 160)):
        with rasterio.open(tiles / f"{name}.tif", "w", **{
                **profile, "height": last - first,
                "transform": rasterio.Affine(1, 0, step.c, 0, -1, step.f - first)}) as out:
            out.write(heights[first:last], 1)
            out.units = ("metre",)
    ground.unlink()
    before = small_site.read_text()
    for words in ("  file: [tiles/a.tif, tiles/b.tif]\n", "  file: tiles/*.tif\n"):
        small_site.write_text(before)
        ran = levelsill("check", edited(small_site, words))
        assert ran.code == 0, ran.err
        assert "2 tiles (a.tif, b.tif)" in ran.out
        assert ran.out.replace("2 tiles (a.tif, b.tif)", "ground.tif") == whole.out
    survey = levelsill("survey", tiles / "*.tif", "--json")
    assert survey.code == 0, survey.err
    assert (survey.json()["rows"], survey.json()["columns"]) == heights.shape


def test_plan_json_fingerprints_every_tile(small_site):
    from terrain.inputs.made_from import fingerprints

    ground = small_site.parent / "ground.tif"
    (small_site.parent / "other.tif").write_bytes(ground.read_bytes())
    listed = read_site(edited(small_site, "  file: [ground.tif, other.tif]\n"))
    assert {"ground.tif", "other.tif", "rain.csv"} <= set(fingerprints(listed))
    small_site.write_text(small_site.read_text().replace("[ground.tif, other.tif]", "\"*.tif\""))
    assert fingerprints(read_site(small_site)).keys() == {
        *fingerprints(listed)}


def test_fields_for_points_and_holes(small_site):
    site = read_site(edited(small_site, "  file: p.csv\n  cell: 2 ft\n  fill holes up to: 100 ft2\n"
                                        "  columns: [point, y, x, z, code]\n"))
    spec = site.elevation
    assert spec.cell == pytest.approx(0.6096)
    assert spec.fill_holes_up_to == pytest.approx(9.290304)
    assert spec.columns == ("point", "y", "x", "z", "code")
    small_site.write_text(small_site.read_text().replace("[point, y, x, z, code]", "x y - z"))
    assert read_site(small_site).elevation.columns == ("x", "y", "-", "z")


@pytest.mark.parametrize(("words", "says"), [
    ("  file: []\n", "at least 1"),
    ("  file: ground.tif\n  fill holes up to: -1 m2\n", "below 0"),
    ("  file: ground.tif\n  fill holes up to: 3 m\n", "not an area"),
    ("  file: ground.tif\n  cell: 0 m\n", "not above 0"),
    ("  file: ground.tif\n  columns: [x, y]\n", "z must be among the columns"),
    ("  file: ground.tif\n  columns: [x, y, z, depth]\n", "'depth' is no column")])
def test_slips_in_the_fields_of_elevation(small_site, words, says):
    with pytest.raises(InputError) as told:
        read_site(edited(small_site, words))
    assert says in str(told.value)
    assert "elevation" in str(told.value)


def test_holes_and_points_on_the_command_line(tmp_path, write_raster, levelsill):
    heights = np.full((30, 30), 50, np.float32) + np.arange(30, dtype=np.float32) / 7
    heights[10:13, 10:13] = np.nan
    path = write_raster(tmp_path / "h.tif", heights, nodata=float("nan"))
    area = 30 * 30 - 9
    for words, known in (([], 900), (["--fill-holes", "0"], area), (["--fill-holes", "8m2"], area),
                         (["--fill-holes", "9 m2"], 900)):
        ran = levelsill("survey", path, "--json", *words)
        assert ran.code == 0, ran.err
        assert sum("filled from its rim" in note for note in ran.json()["notes"]) == (known == 900)
    for words, says in ((["--fill-holes", "-2"], "below 0"), (["--cell", "1"], "surveyed points")):
        ran = levelsill("survey", path, *words)
        assert (ran.code, says in ran.err) == (2, True), ran.err
    points = tmp_path / "p.csv"
    points.write_text("".join(f"{n},{y},{x},{5 + x / 8 - y / 16},T\n" for n, (x, y) in enumerate(
        (x, y) for x in range(0, 40, 4) for y in range(0, 40, 4))))
    ran = levelsill("survey", points, "--plan-unit", "m", "--cell", "1m", "--json",
                    "--columns", "point,y,x,z,-")
    assert ran.code == 0, ran.err
    assert (ran.json()["rows"], ran.json()["columns"]) == (36, 36)
