"""Files that are named and not there: all of them told at once, with line and likeliest name."""

import pytest

from terrain.errors import InputError, InputErrors
from terrain.inputs.named_files import refuse_missing
from terrain.inputs.site import read_site


def test_all_that_are_missing_are_told_with_the_names_most_like_theirs(small_site):
    text = small_site.read_text()
    for old, new in (("ground.tif", "grund.tif"), ("cover.geojson", "Covr.geojson"),
                     ("rain.csv", "weather/rain.csv")):
        assert old in text
        text = text.replace(old, new)
    small_site.write_text(text)
    with pytest.raises(InputErrors) as errors:
        refuse_missing(read_site(small_site))
    assert [str(error).removeprefix(str(small_site)) for error in errors.value.each] == [
        " line 3, elevation, file: there is no such file as grund.tif. Perhaps 'ground.tif' was "
        "meant, which lies there.",
        " line 7, cover, file: there is no such file as Covr.geojson. Perhaps 'cover.geojson' was "
        "meant, which lies there.",
        " line 25, rain, daily, file: there is no such file as weather/rain.csv. Check its name "
        "and folder."]


def test_one_of_several_tiles_and_none_of_a_pattern(small_site):
    text = small_site.read_text()
    small_site.write_text(text.replace("file: ground.tif", "file: [ground.tif, 'tile*.tif']"))
    refuse_missing(read_site(small_site))
    small_site.write_text(text.replace("file: ground.tif", "file: [ground.tif, b.tif]"))
    with pytest.raises(InputError, match=r"line 3, elevation, file, item 2: .* as b\.tif"):
        refuse_missing(read_site(small_site))
