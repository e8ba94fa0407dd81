"""Pictures of the ground beside matplotlib's light, PIL's decoders, rasterio's edges and pyproj."""

import importlib.util
import io
import threading
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import rasterio
from constructed import dem_of
from matplotlib.colors import LightSource, to_rgb
from PIL import Image
from pyproj import Transformer
from rasterio.enums import ColorInterp
from rasterio.errors import NotGeoreferencedWarning
from rasterio.transform import from_bounds, from_origin

from terrain.bench.layers import aerial, encoded, pictures
from terrain.bench.layers.cover_colours import COVER_ALPHA, COVERS, OTHER, colours_of
from terrain.bench.layers.pictures import WET_TINTS, Pictures
from terrain.errors import InputError
from terrain.inputs.elevation import read_elevation
from terrain.outputs.drawing import symbols as sy
from terrain.outputs.drawing.shading import LIGHTS, lift_of, tones_of, typical_slope
from terrain.plan.siting.reading import read_inputs
from terrain.runoff.cover import published_classes

#: The check of the printed map's colours, with its measure and its sources.
_spec = importlib.util.spec_from_file_location(
    "printed_colours", Path(__file__).parents[1] / "outputs" / "drawing" / "test_colours.py")
printed = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(printed)


@pytest.fixture(scope="module")
def inputs(tmp_path_factory, small_site_folder):
    return read_inputs(small_site_folder(tmp_path_factory.mktemp("pictured")))


@pytest.fixture(scope="module")
def made(inputs):
    return Pictures(inputs)


def image_of(made, name):
    data, mime = made.encoded(name)
    image = Image.open(io.BytesIO(data))
    assert Image.MIME[image.format] == mime
    return image


def pixel(image, extent, x, y):
    """The pixel of a place: the first row is the northernmost. [m]"""
    left, bottom, right, top = extent
    return image.getpixel((int((x - left) / (right - left) * image.width),
                           int((top - y) / (top - bottom) * image.height)))


# -- hillshade


def test_tones_are_the_weighted_light_of_matplotlib():
    """`LightSource.hillshade` stretches brightness to 0 to 1, so a sum of the three with factors
    and a constant of their own must give the tones, the factors in the weights' proportion."""
    y, x = np.mgrid[0:60, 0:80] * 2.0
    heights = (100 + 3 * np.sin(x / 17) + 2 * np.cos(y / 11) + 0.02 * x).astype(np.float32)
    tones = tones_of(heights, 2.0, 1.5)
    assert tones.min() > 0
    assert tones.max() < 1
    shades, spans = [], []
    for azimuth, _ in LIGHTS:
        source = LightSource(azimuth, 45.0)
        shades.append(source.hillshade(heights.astype(float), vert_exag=1.5, dx=2.0, dy=2.0))
        down, right = np.gradient(heights.astype(float) * 1.5, 2.0)
        raw = np.stack([-right, down, np.ones_like(down)], -1) @ source.direction
        raw /= np.sqrt(1 + right**2 + down**2)
        spans.append(raw.max() - raw.min())
    columns = np.stack([*(s.ravel() for s in shades), np.ones(heights.size)], 1)
    factors, *_ = np.linalg.lstsq(columns, tones.ravel().astype(float), rcond=None)
    assert np.abs(columns @ factors - tones.ravel()).max() < 2e-5  # float32
    share = factors[:3] / np.array(spans)
    assert share / share.sum() == pytest.approx([weight for _, weight in LIGHTS], abs=1e-3)


def test_level_ground_has_the_middle_tone_and_unknown_ground_none():
    heights = np.full((5, 6), 10.0, np.float32)
    heights[2, 3] = np.nan
    tones = tones_of(heights, 1.0, 3.0)
    assert np.argwhere(np.isnan(tones)).tolist() == [[2, 3]]
    assert np.nanmax(abs(tones - 0.66)) < 1e-6  # the printed map's tone of level ground: snapshot


def test_a_slope_beside_a_void_is_lit_like_the_rest_of_it():
    y, x = np.mgrid[0:9, 0:9].astype(np.float32)
    heights = (x * np.float32(0.1) + y * np.float32(0.05)).astype(np.float32)
    whole = tones_of(heights, 1.0, 1.0)
    holed = heights.copy()
    holed[4, 4] = np.nan
    tones = tones_of(holed, 1.0, 1.0)
    known = np.isfinite(holed)
    assert tones[known] == pytest.approx(whole[known], abs=1e-5)


@pytest.mark.parametrize("shape", [(1, 1), (1, 7), (7, 1)])
def test_a_single_row_of_cells_is_shaded_too(shape):
    assert np.isfinite(tones_of(np.ones(shape, np.float32), 1.0, 1.0)).all()


def test_strips_on_several_threads_meet_without_a_seam():
    y, x = np.mgrid[0:1200, 0:900].astype(np.float32)
    heights = (np.sin(x / 31) + np.cos(y / 23)).astype(np.float32)
    tones = tones_of(heights, 1.0, 1.0)  # more than a strip's least
    assert np.array_equal(tones[598:602], tones_of(heights[590:610], 1.0, 1.0)[8:12])


def test_hillshade_has_a_pixel_a_cell_in_the_printed_maps_colours(made, inputs):
    image = image_of(made, "hillshade")
    assert image.format == "JPEG"
    assert image.size == inputs.dem.shape[::-1]
    dem = inputs.dem
    tone = tones_of(dem.heights, dem.cell, lift_of(typical_slope(dem)))
    dark, light = (255 * np.array(to_rgb(c)) for c in (sy.SHADE_DARK, sy.SHADE_LIGHT))
    want = dark + (light - dark) * tone[..., None]
    assert np.abs(np.asarray(image) - want).mean() < 1.5  # of 255: JPEG


def test_north_is_up_and_voids_are_paper_or_clear(inputs):
    heights = inputs.dem.heights.copy()
    heights[:40, :40] = np.nan
    holed = Pictures(replace(inputs, dem=replace(inputs.dem, heights=heights), terrain=type(
        inputs.terrain)(replace(inputs.dem, heights=heights))))
    assert np.allclose(image_of(holed, "hillshade").getpixel((10, 10)),
                       255 * np.array(to_rgb(sy.PAPER)), atol=3)
    for name in ("slope", "wetness", "cover"):
        image = image_of(holed, name).convert("RGBA")
        assert image.getpixel((10, 10))[3] == 0, name
    for name in ("slope", "cover"):
        assert image_of(holed, name).convert("RGBA").getpixel((100, 100))[3] > 0, name


# -- extent


def test_extent_is_the_rasters_edges(made, inputs):
    with rasterio.open(inputs.site.folder / "ground.tif") as file:
        assert made.extent == pytest.approx(tuple(file.bounds), abs=1e-9)


def test_extent_of_a_raster_in_feet_is_in_metres(tmp_path, write_raster):
    path = write_raster(tmp_path / "feet.tif", np.ones((30, 40), np.float32), 3.0, "EPSG:2225",
                        "US survey foot", (6_000_000.0, 2_000_000.0))
    with rasterio.open(path) as file:
        bounds = np.array(file.bounds)
    # EPSG:2225 is EPSG:6414 (California zone 1) in US survey feet, 1200/3937 m each.
    assert read_elevation(path).bounds == pytest.approx(tuple(bounds * 1200 / 3937), abs=1e-6)


# -- slope and wetness


@pytest.mark.parametrize(("grade", "words"), [(0.005, "under 1 %"), (0.03, "1 to 5 %"),
                                          (0.07, "5 to 10 %"), (0.12, "10 to 15 %"),
                                          (0.3, "over 15 %")])
def test_a_plane_has_the_colour_of_its_slope(inputs, grade, words):
    heights = (500 - grade * np.arange(40)[:, None] + np.zeros(50)).astype(np.float32)
    dem = replace(dem_of(heights), frame=inputs.dem.frame)
    made = Pictures(replace(inputs, dem=dem, terrain=type(inputs.terrain)(dem)))
    red, green, blue, over = image_of(made, "slope").convert("RGBA").getpixel((25, 20))
    colour = {entry.words: entry.colour for entry in made.key("slope")}[words]
    laid = sy.mixed(sy.SHADE_MIDDLE, f"#{red:02x}{green:02x}{blue:02x}", over / 255)
    assert laid == pytest.approx(to_rgb(colour), abs=0.01)


def test_wetness_tints_the_shares_of_the_ground_that_its_key_says(made, inputs):
    image = image_of(made, "wetness")
    classes = np.asarray(image)  # positions in the palette: 0 for what is not tinted
    assert image.size == inputs.dem.shape[::-1]
    for count, (share, entry) in enumerate(zip(pictures.WETTEST, made.key("wetness"),
                                               strict=True)):
        wet = (classes >= len(pictures.WETTEST) - count).mean()
        assert wet == pytest.approx(share, abs=0.012)  # cells alike fall on one side of a limit
        assert f"{100 * share:g} % of the ground" in entry.words


def test_wetness_is_of_the_valley_floor(made):
    classes = np.asarray(image_of(made, "wetness"))
    floor = classes[40:150, 59:62].max(axis=1)  # by construction the middle column's
    assert (floor == len(WET_TINTS)).mean() > 0.9


def test_the_index_in_feet_is_larger_by_the_log_of_a_metre_in_feet(made):
    def number(entry):
        return float(entry.words.split("from ")[1].split()[0])
    for metric, us in zip(made.key("wetness", "metric"), made.key("wetness", "us"), strict=True):
        assert number(us) - number(metric) == pytest.approx(np.log(1 / 0.3048), abs=0.11)
        assert metric.words.endswith("ln m")
        assert us.words.endswith("ln ft")


# -- cover


def test_cover_shows_each_class_where_it_lies(made, inputs):
    image = image_of(made, "cover").convert("RGBA")
    for x, y, name in ((500080, 6399960, "bare soil"), (500020, 6399900, "pasture, poor"),
                       (500100, 6399894, "roof or paving"), (500040, 6399958.5, "dirt road")):
        *rgb, over = pixel(image, made.extent, x, y)
        laid = sy.mixed(sy.SHADE_MIDDLE, "#{:02x}{:02x}{:02x}".format(*tuple(rgb)), over / 255)
        entry, = (e for e in made.key("cover") if e.words.split(":")[0] == name)
        assert laid == pytest.approx(to_rgb(entry.colour), abs=0.01), name


def test_the_covers_key_names_every_class_with_its_area_in_either_system(made):
    metric, us = ({words.split(": ")[0]: words.split(": ")[1] for _, words in
                   ((e.colour, e.words) for e in made.key("cover", system))}
                  for system in ("metric", "us"))
    assert list(metric) == list(us)
    assert set(metric) == {"pasture, poor", "bare soil", "dirt road", "roof or paving"}
    # 20 m by 20 m less what the track takes; 10 m by 8 m of roof: 0.008 ha, 0.0198 acre.
    assert metric["roof or paving"] == "0.01 ha of the property"
    assert us["roof or paving"] == "0.02 acre of the property"


@pytest.mark.parametrize("vision", printed.VISIONS)
def test_covers_are_told_apart_by_the_colour_blind_too(vision):
    sets = {**{colour: printed.laid(colour, COVER_ALPHA) for colour in COVERS},
            "bare ground": to_rgb(sy.SHADE_MIDDLE)}
    close = {pair: d for pair, d in printed.differences(sets, vision).items()
             if d < printed.LEAST}
    assert close == {}


@pytest.mark.parametrize("vision", printed.VISIONS)
def test_wetness_is_told_apart_by_the_colour_blind_too(vision):
    sets = {**{str(i): printed.laid(tint.colour, tint.cover) for i, tint in enumerate(WET_TINTS)},
            "dry": to_rgb(sy.SHADE_MIDDLE)}
    assert min(printed.differences(sets, vision).values()) >= printed.LEAST


def test_as_many_classes_as_there_are_colours_have_one_each():
    names = list(published_classes())[:len(COVERS)]
    assert {tint.colour for tint in colours_of(names)} == set(COVERS)
    more = [tint.colour for tint in colours_of([*names, "one more", "and one"])]
    assert more[-2:] == [OTHER, OTHER]


def test_a_class_has_a_colour_that_suits_it():
    tints = dict(zip(("woods, good", "bare soil", "open water"),
                     (to_rgb(t.colour) for t in colours_of(["woods, good", "bare soil",
                                                            "open water"])), strict=True))
    assert np.argmax(tints["woods, good"]) == 1
    assert np.argmax(tints["bare soil"]) == 0
    assert np.argmax(tints["open water"]) == 2


# -- made once, whatever asks


def test_each_picture_is_made_once_for_all_threads(inputs, monkeypatch):
    made, calls, gate = Pictures(inputs), [], threading.Barrier(8, timeout=30)
    for name in ("jpeg_of", "png_of"):
        real = getattr(pictures, name)
        monkeypatch.setattr(pictures, name, lambda *a, real=real: calls.append(1) or real(*a))

    def ask(number):
        gate.wait()
        order = made.names[number % 4:] + made.names[:number % 4]
        return {name: made.encoded(name)[0] for name in order}
    with ThreadPoolExecutor(8) as threads:
        found = list(threads.map(ask, range(8)))
    assert len(calls) == 4
    assert all(one[name] is found[0][name] for one in found for name in made.names)


def test_names_and_labels_in_order_and_no_others(made):
    assert [made.label(name) for name in made.names] == ["Hillshade", "Slope", "Wetness", "Cover"]
    for ask in (made.encoded, made.key):
        with pytest.raises(KeyError):
            ask("aerial")


def test_the_same_site_gives_the_same_bytes(inputs, made):
    again = Pictures(inputs)
    assert all(again.encoded(name) == made.encoded(name) for name in made.names)


def test_a_larger_raster_is_reduced_to_what_a_browser_takes():
    numbers = np.zeros((90, 9000), np.uint8)
    numbers[:, 4500:] = 7
    assert encoded.MOST_PIXELS == 4096
    thin = encoded.reduced(numbers, smooth=False)
    assert thin.shape == (41, 4096)
    assert set(np.unique(thin)) == {0, 7}
    assert thin[0, 2040] == 0
    assert thin[0, 2056] == 7
    numbers[::2] = 201  # means of rows of 201 and 0, or 201 and 7
    mean = encoded.reduced(numbers, smooth=True).mean()
    assert mean == pytest.approx(numbers.mean(), abs=1.0)


# -- aerial picture


def write_picture(path, bands, crs="EPSG:32734", bounds=(500000, 6399840, 500120, 6400000),
                  **more):
    count, high, wide = bands.shape
    table, kinds = more.pop("table", None), more.pop("kinds", None)
    with rasterio.open(path, "w", driver=more.pop("driver", "GTiff"), width=wide, height=high,
                       count=count, dtype=bands.dtype, crs=crs,
                       transform=from_bounds(*bounds, wide, high), **more) as out:
        out.write(bands)
        if table:
            out.write_colormap(1, table)
        if kinds:
            out.colorinterp = kinds
    return path


def colours(high=320, wide=240):
    """Red in the north, blue in the south, and green with every step east."""
    rows, columns = np.mgrid[0:high, 0:wide]
    return np.stack([np.where(rows < high // 2, 220, 30), 200 * columns // wide,
                     np.where(rows < high // 2, 30, 220)]).astype(np.uint8)


def test_an_aerial_picture_lies_on_the_extent(tmp_path, inputs):
    made = Pictures(inputs, write_picture(tmp_path / "a.tif", colours()))
    assert made.names[-1] == "aerial"
    assert made.label("aerial") == "Aerial picture"
    image = image_of(made, "aerial")
    assert image.size == (240, 320)  # as fine as it is: half a metre
    assert np.abs(np.asarray(image, float) - np.moveaxis(colours(), 0, -1)).mean() < 4
    assert made.key("aerial") == ()


def test_an_aerial_picture_in_degrees_is_moved_to_its_place(tmp_path, inputs):
    """A spot in it is where pyproj says; beyond it the hillshade shows."""
    to_degrees = Transformer.from_crs("EPSG:32734", "EPSG:4326", always_xy=True)
    corner = to_degrees.transform(500040, 6399950)
    size, step = 300, 2e-6
    bands = np.full((3, size, size), 90, np.uint8)
    bands[:, 140:160, 200:220] = np.array([250, 0, 0], np.uint8)[:, None, None]
    path = tmp_path / "b.tif"
    with rasterio.open(path, "w", driver="GTiff", width=size, height=size, count=3, dtype="uint8",
                       crs="EPSG:4326", transform=from_origin(*corner, step, step)) as out:
        out.write(bands)
    spot = Transformer.from_crs("EPSG:4326", "EPSG:32734", always_xy=True).transform(
        corner[0] + 210 * step, corner[1] - 150 * step)
    made = Pictures(inputs, path)
    image = image_of(made, "aerial")
    red, green, blue = pixel(image, made.extent, *spot)
    assert red > 200
    assert green < 60
    assert blue < 60
    reds = np.argwhere((np.asarray(image)[..., 0] > 200) & (np.asarray(image)[..., 1] < 60))
    left, bottom, right, top = made.extent
    middle = reds.mean(axis=0) + 0.5
    assert left + middle[1] / image.width * (right - left) == pytest.approx(spot[0], abs=0.3)
    assert top - middle[0] / image.height * (top - bottom) == pytest.approx(spot[1], abs=0.3)
    shade = image_of(made, "hillshade")
    assert np.allclose(pixel(image, made.extent, 500010, 6399990),
                       pixel(shade, made.extent, 500010, 6399990), atol=8)


def test_grey_16_bits_tables_and_alpha_are_pictures_too(tmp_path, inputs):
    red, green, blue = colours()
    grey = image_of(Pictures(inputs, write_picture(tmp_path / "grey.tif", green[None])), "aerial")
    assert np.abs(np.asarray(grey, float) - green[..., None]).mean() < 3
    deep = write_picture(tmp_path / "deep.tif", colours().astype(np.uint16) * 40)
    image = np.asarray(image_of(Pictures(inputs, deep), "aerial"), float)
    assert image[:100, :, 0].mean() > image[:100, :, 2].mean() + 150
    numbers = (green // 100).astype(np.uint8)[None]
    table = write_picture(tmp_path / "table.tif", numbers, table={0: (200, 30, 30, 255),
                                                                  1: (30, 30, 200, 255)})
    image = image_of(Pictures(inputs, table), "aerial")
    assert image.getpixel((20, 100))[0] > 150
    assert image.getpixel((220, 100))[2] > 150
    clear = np.where(np.arange(240) < 120, 0, 255).astype(np.uint8) * np.ones((320, 1), np.uint8)
    four = write_picture(tmp_path / "four.tif", np.stack([red, green, blue, clear]),
                         kinds=[ColorInterp.red, ColorInterp.green, ColorInterp.blue,
                                ColorInterp.alpha])
    made = Pictures(inputs, four)
    image, shade = image_of(made, "aerial"), image_of(made, "hillshade")
    assert np.allclose(image.getpixel((50, 100)), shade.resize(image.size).getpixel((50, 100)),
                       atol=10)
    assert image.getpixel((200, 100))[0] > 180


def refusal(path, inputs):
    with pytest.raises(InputError) as refused:
        Pictures(inputs, path)
    said = str(refused.value)
    assert "\n" not in said
    assert str(path) in said
    return said


def test_what_is_no_picture_of_the_site_is_refused_in_a_sentence(tmp_path, inputs):
    assert "no such file" in refusal(tmp_path / "none.tif", inputs)
    assert "no coordinate system" in refusal(
        write_picture(tmp_path / "nowhere.tif", colours(), crs=None), inputs)
    assert "does not touch" in refusal(write_picture(
        tmp_path / "far.tif", colours(), bounds=(510000, 6399840, 510120, 6400000)), inputs)
    assert "float32" in refusal(write_picture(
        tmp_path / "heights.tif", colours().astype(np.float32)), inputs)
    assert "two bands" in refusal(write_picture(tmp_path / "two.tif", colours()[:2]), inputs)
    words = tmp_path / "words.tif"
    words.write_text("no picture")
    assert "cannot be read" in refusal(words, inputs)


def test_a_file_that_names_others_or_a_server_is_refused(tmp_path, inputs):
    write_picture(tmp_path / "inner.tif", colours())
    virtual = tmp_path / "outer.tif"  # whatever its name says
    virtual.write_text("""<VRTDataset rasterXSize="240" rasterYSize="320">
<VRTRasterBand dataType="Byte" band="1"><SimpleSource>
<SourceFilename relativeToVRT="1">inner.tif</SourceFilename><SourceBand>1</SourceBand>
</SimpleSource></VRTRasterBand></VRTDataset>""")
    with pytest.warns(NotGeoreferencedWarning), rasterio.open(virtual) as read:
        assert read.driver == "VRT"  # it is one that would be read
    assert "cannot be read" in refusal(virtual, inputs)


def test_pictures_that_would_fill_the_memory_are_refused(tmp_path, inputs, monkeypatch):
    vast = tmp_path / "vast.tif"
    with rasterio.open(vast, "w", driver="GTiff", width=100_000, height=100_000, count=1,
                       dtype="uint8", crs="EPSG:32734", tiled=True, sparse_ok=True,
                       bigtiff="yes", blockxsize=4096, blockysize=4096,
                       transform=from_origin(500000, 6400000, 0.01, 0.01)):
        pass
    assert vast.stat().st_size < 1_000_000
    assert "100,000 by 100,000 pixels" in refusal(vast, inputs)
    packed = tmp_path / "packed.tif"
    with rasterio.open(packed, "w", driver="GTiff", width=30_000, height=30_000, count=1,
                       dtype="uint8", crs="EPSG:32734", tiled=True, blockxsize=29_984,
                       blockysize=29_984, sparse_ok=True, compress="deflate",
                       transform=from_origin(500000, 6400000, 0.01, 0.01)):
        pass
    assert "one piece" in refusal(packed, inputs)
    monkeypatch.setattr(aerial, "MOST_BYTES", 1000)
    assert "GB large" in refusal(write_picture(tmp_path / "a.tif", colours()), inputs)


def test_a_picture_that_is_damaged_says_so_when_it_is_shown(tmp_path, inputs):
    path = write_picture(tmp_path / "cut.tif", np.tile(colours(), (1, 4, 4)), compress="deflate")
    whole = path.read_bytes()
    made = Pictures(inputs, path)
    path.write_bytes(whole[:len(whole) // 2].ljust(len(whole), b"\0"))
    with pytest.raises(InputError, match="cannot be read"):
        made.encoded("aerial")
    path.write_bytes(whole)
    assert made.encoded("aerial")[1] == "image/jpeg"  # mended, it is read


def test_a_fine_picture_has_no_more_pixels_than_a_browser_takes(tmp_path, inputs, monkeypatch):
    monkeypatch.setattr(aerial, "MOST_PIXELS", 100)
    made = Pictures(inputs, write_picture(tmp_path / "a.tif", colours()))
    assert image_of(made, "aerial").size == (75, 100)
