import itertools

import matplotlib
import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure

from terrain.outputs.drawing import symbols as sy

# Full loss of one kind of cone: Machado, Oliveira & Fernandes, A Physiologically-based Model for
# Simulation of Color Vision Deficiency, IEEE TVCG 15 (2009), table of severity 1.0; linear RGB.
SIGHT = {
    "usual": np.eye(3),
    "protanopia": np.array([[0.152286, 1.052583, -0.204868],
                            [0.114503, 0.786281, 0.099216],
                            [-0.003882, -0.048116, 1.051998]]),
    "deuteranopia": np.array([[0.367322, 0.860646, -0.227968],
                              [0.280085, 0.672501, 0.047413],
                              [-0.011820, 0.042940, 0.968881]]),
}
# sRGB to XYZ and CIELAB with the D65 white: IEC 61966-2-1 (1999); CIE 15 (2004).
TO_XYZ = np.array([[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750],
                   [0.0193339, 0.1191920, 0.9503041]])
WHITE = np.array([0.95047, 1.0, 1.08883])


def lab(colour, sight):
    rgb = np.asarray(to_rgb(colour))
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    seen = np.clip(SIGHT[sight] @ linear, 0, 1)
    share = TO_XYZ @ seen / WHITE
    f = np.where(share > 216 / 24389, np.cbrt(share), (24389 / 27 * share + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def least_difference(colours, sight):
    return min(float(np.linalg.norm(lab(a, sight) - lab(b, sight)))
               for a, b in itertools.combinations(colours, 2))


def tinted(colour, alpha):
    return sy.mixed(sy.SHADE_MIDDLE, colour, alpha)


def test_lab_of_white_and_the_measure_itself():
    assert lab("#ffffff", "usual") == pytest.approx([100, 0, 0], abs=0.01)
    assert lab("#ff0000", "usual") == pytest.approx([53.24, 80.09, 67.20], abs=0.05)
    # The measure must be able to fail: a red and a green of one lightness are one to a deuteranope.
    assert least_difference(["#b5563a", "#7b7a39"], "usual") > 30
    assert least_difference(["#b5563a", "#7b7a39"], "deuteranopia") < 10


@pytest.mark.parametrize("sight", SIGHT)
def test_tints_of_catchments_differ_as_they_are_laid_on_the_ground(sight):
    assert least_difference([tinted(t, sy.TINT_ALPHA) for t in sy.TINTS], sight) > 8


@pytest.mark.parametrize("sight", SIGHT)
def test_slope_classes_differ(sight):
    assert least_difference([tinted(c, sy.SLOPE_ALPHA) for _, _, c in sy.SLOPES], sight) > 8


@pytest.mark.parametrize("sight", SIGHT)
def test_steeper_is_darker(sight):
    light = [lab(tinted(c, sy.SLOPE_ALPHA), sight)[0] for _, _, c in sy.SLOPES]
    assert light == sorted(light, reverse=True)


@pytest.mark.parametrize("sight", SIGHT)
def test_fates_of_water_differ(sight):
    assert least_difference([sy.PASSIVE, sy.ROOF_WATER, sy.LEFT, sy.RAIN], sight) > 12


@pytest.mark.parametrize("sight", SIGHT)
def test_works_and_marks_differ(sight):
    # Berm and shed point are left to their shapes: a line, and a disc with a number.
    assert least_difference([sy.WATER, sy.POOL, sy.EARTH, sy.TREE_FILL], sight) > 12
    assert least_difference([sy.WATER, sy.POOL, sy.SHED, sy.TREE_FILL], sight) > 12


@pytest.mark.parametrize("ink", [sy.INK, sy.SOFT_INK, sy.WATER, sy.TREE, sy.TANK, sy.ROOF_EDGE,
                                 sy.SHED, sy.PASSIVE, sy.INDEX_CONTOUR])
def test_lettering_stands_out_from_paper(ink):
    # 4.5 to 1: Web Content Accessibility Guidelines 2.1, 2018, criterion 1.4.3.
    def luminance(colour):
        rgb = np.asarray(to_rgb(colour))
        return float(TO_XYZ[1] @ np.where(rgb <= 0.04045, rgb / 12.92,
                                          ((rgb + 0.055) / 1.055) ** 2.4))
    assert (luminance(sy.PAPER) + 0.05) / (luminance(ink) + 0.05) >= 4.5


@pytest.mark.parametrize(("most", "system", "words", "metres"), [
    (137, "metric", "100 m", 100), (99, "metric", "50 m", 50), (200, "metric", "200 m", 200),
    (1.3, "metric", "1 m", 1), (0.45, "metric", "0.4 m", 0.4), (2600, "metric", "2 km", 2000),
    (100, "us", "300 ft", 300 * 0.3048), (4000, "us", "2 mi", 2 * 1609.344)])
def test_round_lengths(most, system, words, metres):
    made = sy.round_length(most, system)
    assert made.words == words
    assert made.metres == pytest.approx(metres)
    assert made.metres <= most * (1 + 1e-9)


@pytest.mark.parametrize("most", np.geomspace(0.02, 90_000, 60))
@pytest.mark.parametrize("system", ["metric", "us"])
def test_round_length_is_never_too_long_nor_under_half(most, system):
    made = sy.round_length(float(most), system)
    assert 0.49 * most < made.metres <= most * (1 + 1e-9) or (system == "us" and most > 1600)
    part = made.number / made.parts * 100
    assert part == pytest.approx(round(part, 6))


def test_no_scale_bar_of_nothing():
    with pytest.raises(ValueError, match="0 m"):
        sy.round_length(0.0, "metric")


def test_scale_bar_is_as_long_as_it_says():
    ax = Figure().add_axes((0, 0, 1, 1))
    ax.set_xlim(0, 500)
    length = sy.round_length(137, "metric")
    sy.scale_bar(ax, 40, 10, length)
    parts = [p for p in ax.patches if p.get_gid() == "scale bar"]
    assert min(p.get_x() for p in parts) == 40
    assert max(p.get_x() + p.get_width() for p in parts) == pytest.approx(140)
    assert [t.get_text() for t in ax.texts] == ["0", "100 m"]


@pytest.mark.parametrize(("value", "dimension", "system", "words"), [
    (34.1, "volume", "metric", "34 m³"), (1.24, "volume", "metric", "1.2 m³"),
    (9.97, "volume", "metric", "10 m³"), (34.1, "volume", "us", "9,008 gal"),
    (4e6, "volume", "us", "3,243 acre-ft"), (1000.0, "volume", "us", "264,172 gal"),
    (1198.474, "level", "metric", "1,198.47 m"),
    (None, "volume", "metric", "unknown")])
def test_brief(value, dimension, system, words):
    assert sy.brief(value, dimension, system) == words


@pytest.mark.parametrize(("value", "dimension", "system", "words"), [
    (98.0, "rain", "metric", "98 mm"), (30.48, "rain", "us", "1.2 in"),
    (500.0, "land", "metric", "0.05 ha"), (20000.0, "land", "metric", "2 ha")])
def test_plain(value, dimension, system, words):
    assert sy.plain(value, dimension, system) == words


def test_a_persons_own_settings_do_not_leak_in_or_out():
    @sy.styled
    def size():
        return matplotlib.rcParams["font.size"]

    with matplotlib.rc_context({"font.size": 31.0, "text.usetex": True}):
        assert size() == sy.TEXT_SIZE
        assert matplotlib.rcParams["font.size"] == 31.0
