"""Files in YAML that mean harm, or look like it: refused at once, in one sentence."""

import pytest

from terrain.errors import InputError
from terrain.inputs.described import MOST_BYTES
from terrain.inputs.site import read_site


def refused(folder, text):
    path = folder / "site.yaml"
    path.write_text(text)
    with pytest.raises(InputError) as error:
        read_site(path)
    return str(error.value)


@pytest.mark.parametrize("field", ["name", "works", "rain", "rules", "units", "keep clear"])
def test_aliases_that_stand_for_a_million_million_entries(tmp_path, field):
    # Each list holds ten of the one before: written out, 10^12 entries.
    lists, before = [], "x"
    for name in "abcdefghijkl":
        lists.append(f"&{name} [{', '.join([before] * 10)}]")
        before = f"*{name}"
    assert "aliases" in refused(tmp_path, f"{field}: [{', '.join(lists)}]\n")


def test_a_few_aliases_are_read(small_site):
    text = small_site.read_text()
    assert text.count("depth: 20 mm") == 1
    small_site.write_text(text.replace("depth: 20 mm", "depth: &shower 20 mm").replace(
        "  daily:", "    - {name: other, depth: *shower}\n  daily:"))
    assert [storm.depth for storm in read_site(small_site).rain.storms][-1] == 20


@pytest.mark.parametrize("text", [
    "name: " + "[" * 3000 + "]" * 3000, "name: " + "{a: " * 500, "name: " + "[[[[" * 50,
    "name:\n" + "".join("  " * depth + "- a:\n" for depth in range(1, 400))])
def test_nested_without_end(tmp_path, text):
    assert "nested without end" in refused(tmp_path, text)


def test_a_list_that_holds_itself(tmp_path):
    assert "name" in refused(tmp_path, "name: &a [*a]\n")


def test_far_too_large_a_file(tmp_path):
    assert "bytes" in refused(tmp_path, "# " + "x" * MOST_BYTES + "\n")


def test_a_sentence_obeys_no_terminal_and_ends(tmp_path):
    said = refused(tmp_path, 'name: x\nunits: "' + "\\e[2J" + "y" * 5000 + '"\n')
    assert "\x1b" not in said
    assert len(said) < 1500


def test_of_a_misspelt_field_the_right_one_is_not_told_missing_too(small_site):
    text = small_site.read_text()
    small_site.write_text(text.replace("  file: ground.tif", "  fiel: ground.tif"))
    assert "missing" not in refused(small_site.parent, small_site.read_text())
    said = refused(small_site.parent, text.replace("  file: ground.tif", "  tint: red"))
    assert "line 2, elevation, file: this field is missing" in said
    assert "line 3, elevation, tint: this field is not known" in said


def test_a_field_of_another_part_is_told_to_belong_elsewhere(small_site):
    text = small_site.read_text()
    assert "crown: this field is not known. It belongs elsewhere" in refused(
        small_site.parent, text.replace("    length: 30 m", "    crown: 3 m"))
