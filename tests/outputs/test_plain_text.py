"""Names that a person gave, as cells and as file names."""

from __future__ import annotations

import pytest

from terrain.outputs.plain_text import cell_text
from terrain.outputs.sheets.plan_sheets import file_name


@pytest.mark.parametrize("name", ["=1+1", "+1", "-1", "@A1", "\t=1", "\r\n=1", " =1", "\xa0=1",
                                  "＝1", "＋1", "－1", "＠A1", "\x00=1"])
def test_what_starts_a_formula_starts_with_an_apostrophe(name):
    """Signs of OWASP's page on CSV injection."""
    assert cell_text(name).startswith("'")
    assert "\n" not in cell_text(name)


@pytest.mark.parametrize("name", ["upper swale", "pond (old)", "a=b", "", " ", "名前", "1 - 2",
                                  "'quoted'"])
def test_other_names_stay(name):
    assert cell_text(name) == name


def test_no_control_characters_stay():
    assert cell_text("a\x00b\x07c\nd") == "abc d"


NAMES = ["pond/north", "pond\\north", "pond north", "pond:north", "../../etc/passwd", "CON", "nul",
         "", "...", "a" * 400, "名" * 200, "Pond", "pond", "x\x00y", "-rf", "~", "*"]


def test_sheets_of_any_names_have_files_of_their_own():
    """Distinct even where a disk does not tell capitals apart, short enough for any, and no path
    or name that a system keeps for itself."""
    made = [file_name(number, name) for number, name in enumerate(NAMES, 1)]
    assert len({name.casefold() for name in made}) == len(NAMES)
    for name in made:
        assert len(name.encode()) <= 255
        assert not set(name) & set('/\\:*?"<>|\x00')
        assert name[0].isdigit()
        assert name.endswith(".png")
        assert name.count(".") == 1
