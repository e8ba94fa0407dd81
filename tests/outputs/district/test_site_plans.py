"""Many sites planned at once: each as by itself, and what is wrong with one is its own.

What is checked follows from what the module promises; figures are those of a plan made alone.
"""

import csv
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

import pytest
from deadly import quick

from terrain.district.engine import engine
from terrain.errors import InputError
from terrain.outputs.district import site_plans
from terrain.outputs.district.site_plans import (
    SitePlan,
    find_sites,
    folder_names,
    plan_sites,
    write_sites,
)
from terrain.outputs.district.sites_page import sites_table
from terrain.outputs.folder import write_plan
from terrain.plan.plan import make_plan

pytestmark = pytest.mark.long


def one_after_another(function, rows, done):
    found = [function(*row) for row in rows]
    for number, one in enumerate(found):
        done(number, one)
    return found


@pytest.fixture(scope="module")
def land(tmp_path_factory, small_site_folder):
    """Two sites of one name, one that is wrong, and one whose worker dies."""
    folder = tmp_path_factory.mktemp("land")
    site = small_site_folder(folder).parent
    for name in ("east/farm", "west/farm", "deadly"):
        shutil.copytree(site, folder / name)
    shutil.rmtree(site)
    (folder / "wrong").mkdir()
    (folder / "wrong/site.yaml").write_text("name: wrong\nworks: 3\n")
    return folder


def test_a_site_that_is_wrong_or_kills_its_worker_is_told_and_others_go_on(
        land, tmp_path, monkeypatch):
    monkeypatch.setattr("terrain.district.engine.TRIES", 0)
    monkeypatch.setattr(site_plans, "plan_site", quick)
    said = []
    with engine(workers=2) as its:
        plans = plan_sites(find_sites(land), tmp_path, its.run_each, said.append)
    faults = {plan.folder.name: plan.fault for plan in plans}
    assert list(faults) == ["deadly", "east-farm", "west-farm", "wrong"]
    assert "workers died" in faults["deadly"]
    assert faults["east-farm"] == faults["west-farm"] == ""
    assert faults["wrong"].startswith(str(land / "wrong/site.yaml"))
    assert "\n" not in faults["wrong"]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["east-farm", "west-farm"]
    assert said[-1] == "Planned 4 of 4 sites"


@pytest.fixture(scope="module")
def planned(land, tmp_path_factory):
    out = tmp_path_factory.mktemp("out") / "plans"
    with engine(workers=2) as its:
        return plan_sites(find_sites(land, ["*/farm/*.yaml", "wrong/*.yaml"]), out,
                          its.run_each), out


@pytest.mark.slow
def test_each_is_planned_as_by_itself(planned, land, tmp_path):
    plans, _ = planned
    alone = make_plan(land / "east/farm/site.yaml")
    write_plan(alone, tmp_path / "alone")
    files = {path.relative_to(tmp_path / "alone") for path in (tmp_path / "alone").rglob("*")}
    one = next(plan for plan in plans if plan.folder.name == "east-farm")
    assert {path.relative_to(one.folder) for path in one.folder.rglob("*")} == files
    for name in ("plan.json", "map.png", "setting_out.csv"):
        assert (one.folder / name).read_bytes() == (tmp_path / "alone" / name).read_bytes()
    told = json.loads((one.folder / "plan.json").read_text())
    assert one.area == pytest.approx(told["boundary_m2"])
    assert one.cut == pytest.approx(sum(work["cut_m3"] for work in told["earthworks"]["works"]))
    assert one.cautions == sum(len(store["cautions"]) for store in told["stores"]) > 0
    for caught, total in ((one.design, told["totals"]["storms"][one.design.name]),
                          (one.year, told["totals"]["average_year"])):
        assert caught.passive == pytest.approx(total["passive_m3"])
        assert caught.roof == pytest.approx(total["roof_m3"])
        # Nothing else was brought: what runs off is caught or leaves.
        assert caught.catchable == pytest.approx(caught.passive + caught.roof + caught.left)
    assert one.money is None  # the site file states no rates


def test_a_plan_is_made_again_in_its_place_and_nothing_of_the_owners_is_lost(
        land, tmp_path, monkeypatch):
    monkeypatch.setattr(site_plans, "plan_site", quick)
    paths = find_sites(land, ["east/*/site.yaml", "west/*/site.yaml"])
    first = plan_sites(paths, tmp_path, one_after_another)
    assert [plan.fault for plan in first] == ["", ""]
    (first[1].folder / "mine.txt").write_text("a note")
    again = plan_sites(paths, tmp_path, one_after_another)
    assert again[0] == first[0]
    assert "mine.txt" in again[1].fault
    assert (first[1].folder / "mine.txt").exists()
    assert len(list(tmp_path.iterdir())) == 2


def test_a_fault_of_levelsills_own_is_told_with_its_kind(land, tmp_path, monkeypatch):
    def fail(path):
        raise ZeroDivisionError("nothing to\nshare")

    monkeypatch.setattr("terrain.plan.plan.make_plan", fail)
    [plan] = plan_sites([land / "east/farm/site.yaml"], tmp_path, one_after_another)
    assert plan.fault.startswith("levelsill failed on this site (ZeroDivisionError: nothing to "
                                 "share)")
    assert plan.name == "farm"
    assert not list(tmp_path.iterdir())


@pytest.mark.slow
def test_the_summary(planned, tmp_path):
    plans, out = planned
    write_sites(plans, tmp_path, out.parent / "summary")
    told = json.loads((tmp_path / "sites.json").read_text())["sites"]
    assert [one["fault"] is None for one in told] == [True, True, False]
    assert told[0]["plan"] == "../plans/east-farm"
    assert told[0]["average_year"]["catchable_m3"] == pytest.approx(plans[0].year.catchable)
    with open(tmp_path / "sites.csv", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert float(rows[0]["area, ha"]) == pytest.approx(plans[0].area / 1e4, abs=1e-4)
    assert float(rows[0]["passive, design storm, m3"]) == pytest.approx(plans[0].design.passive,
                                                                        abs=1e-3)
    assert rows[2]["no plan, because"] == plans[2].fault
    assert rows[2]["cautions"] == ""
    assert all(None not in row.values() and None not in row for row in rows)


def test_formulas_in_names_are_text(tmp_path):
    write_sites([SitePlan(Path("a.yaml"), "=1+1", Path("a"))], tmp_path, Path())
    assert "'=1+1," in (tmp_path / "sites.csv").read_text()


def test_sites_are_found_once_each_and_a_pattern_without_any_is_told(land):
    found = find_sites(land, ["**/site.yaml", "west/farm/site.yaml"])
    assert [path.relative_to(land).as_posix() for path in found] == [
        "deadly/site.yaml", "east/farm/site.yaml", "west/farm/site.yaml", "wrong/site.yaml"]
    with pytest.raises(InputError, match=r'no site file fits "north/\*\.yaml"'):
        find_sites(land, ["north/*.yaml"])


def test_paths_to_another_drive_are_whole(tmp_path, monkeypatch):
    """Where Windows knows no way from one drive to another, as os.path.relpath then says."""
    plans = [SitePlan(tmp_path / "a b.yaml", "a", tmp_path / "plans/a")]

    def none(path, start):
        raise ValueError("path is on mount 'D:', start on mount 'C:'")

    monkeypatch.setattr(os.path, "relpath", none)
    write_sites(plans, tmp_path, tmp_path / "out")
    told = json.loads((tmp_path / "sites.json").read_text())["sites"][0]
    assert Path(told["site_file"]) == (tmp_path / "a b.yaml").resolve()
    assert (tmp_path / "plans/a/report.html").resolve().as_uri() in sites_table(
        plans, tmp_path / "out")


def test_folders_have_names_of_their_own():
    assert folder_names([Path("/a/b/site.yaml")]) == ["b"]
    assert folder_names([Path("/a/b-c/site.yaml"), Path("/a/b/c/site.yaml"),
                         Path("/a/B/C/site.yaml")]) == ["b-c", "b-c-2", "B-C-3"]


STOPPED = """
import sys, time
from pathlib import Path
from terrain.district.engine import engine
from terrain.files import whole_folder
from terrain.outputs.district import site_plans

def endless(path, folder):
    with whole_folder(folder) as draft:
        (draft / "map.png").write_bytes(b"half")
        time.sleep(120)

if __name__ == "__main__":
    site_plans.plan_site = endless
    with engine(workers=2) as its:
        site_plans.plan_sites(site_plans.find_sites(Path(sys.argv[1])), Path(sys.argv[2]),
                              its.run_each)
"""


@pytest.mark.slow
def test_ctrl_c_leaves_nothing_half_written(land, tmp_path):
    out = tmp_path / "plans"
    (tmp_path / "stopped.py").write_text(STOPPED)
    with subprocess.Popen([sys.executable, tmp_path / "stopped.py", land, out],
                          start_new_session=True, stderr=subprocess.PIPE, text=True) as process:
        try:
            ends = time.monotonic() + 120
            while len(list(out.rglob("map.png"))) < 2 and time.monotonic() < ends:
                time.sleep(0.05)
            assert len(list(out.rglob("map.png"))) == 2  # drafts are being written
            asked = time.monotonic()
            os.killpg(process.pid, signal.SIGINT)
            said = process.communicate(timeout=60)[1]
            assert time.monotonic() - asked < 5
        finally:
            with suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
    assert said.strip().endswith("KeyboardInterrupt")
    assert not list(out.iterdir())
