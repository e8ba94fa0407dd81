"""Every figure from outside the project is met as docs/accuracy.md says."""

import importlib.util
import sys
from pathlib import Path

import pytest

SELF = Path(__file__).name
SPEC = importlib.util.spec_from_file_location("accuracy_page", Path(__file__).parent / "page.py")
page = importlib.util.module_from_spec(SPEC)
sys.modules[SPEC.name] = page
SPEC.loader.exec_module(page)

TEXT = page.PAGE.read_text(encoding="utf-8")


#: Tables that levelsill's own rest on, or that only say what a rule is: copies held to copies, by
#: the tests that name them, show slips and no accuracy.
COPIES = {
    "drawdown_and_mosquito", "fao56_table_12_kc_trees", "first_flush_and_treatment",
    "green_ampt_parameters_rawls_1983", "hand_digging_rates", "household_demand",
    "hsg_transmission_rates_1986", "manning_n_channels", "neh630_table_7_1_soil_groups",
    "nrcs_24h_rainfall_distributions", "practice_standards", "rational_method_c",
    "rational_method_c_rural", "roof_runoff_coefficients", "soil_volume_factors",
    "tr55_table_3_1_sheet_flow_n", "tr55_table_4_2_pond_swamp", "tr55_table_f1_unit_peak",
    "vegetated_channel_velocity"}
#: Tables of a closed form that the page compares as a whole; tests/flood holds the form to them.
FORMS = {"thacker_planar"}


@pytest.mark.parametrize("group", [pytest.param(
    group, marks=pytest.mark.slow if group == "Flood" else []) for group in page.GROUPS])
def test_a_group_is_met_and_stands_on_the_page_as_it_comes_out(group):
    checks = page.GROUPS[group]()
    assert len(checks) > 4
    for check in checks:
        assert check.error <= check.within, f"{check.quantity}: {page.row(check)}"
        assert len(check.source) > 10
    table = page.HEAD + "".join(map(page.row, checks))
    assert table in page.told(TEXT, group), "run python tests/accuracy/page.py"


def test_every_group_stands_on_the_page_once():
    assert [found.group(2) for found in page.BLOCK.finditer(TEXT)] == list(page.GROUPS)


def test_every_published_table_is_compared_or_is_a_copy():
    used = " ".join(path.read_text(encoding="utf-8")
                    for path in Path(__file__).parent.glob("*.py") if path.name != SELF)
    tables = {path.stem for path in page.check.TABLES.glob("*.csv")}
    assert len(tables) > 40
    assert {name for name in tables if f"{name}.csv" not in used} == COPIES | FORMS


def test_a_figure_that_is_off_is_told_as_it_is():
    compared, differing = page.check.compared, page.check.differing
    off = compared("a book, page 3", "depth", "m", [1.0, 4.0, 2.0], [1.0, 5.0, 2.1], 0.5)
    assert (off.count, off.published, off.ours, off.error) == (3, 4.0, 5.0, 1.0)
    assert off.error > off.within
    assert page.row(off) == "| depth [m] | a book, page 3 | 3 | 4 | 5 | 1 | 0.5 |\n"
    share = compared("a book, page 3", "depth", "m", [10.0, 4.0], [11.0, 4.8], 0.5, True, "rough")
    assert page.row(share) == "| depth [m]. Rough | a book, page 3 | 2 | 4 | 4.8 | 20 % | 50 % |\n"
    assert differing("a grid of old", "filled", [[1, 2], [3, 4]], [[1, 2], [4, 4]]).error == 1
    with pytest.raises(ValueError, match="2 figures are held against 1"):
        compared("a book", "depth", "m", [1.0, 2.0], [1.0], 0.1)
