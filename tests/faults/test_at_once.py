"""Two runs at once on one output: one wins or one is told, and they are never mixed."""

from __future__ import annotations

import os

import pytest
from child import Child
from scenes import Folder, Save, contents, is_whole, left_over, make_district

from terrain.errors import InputError
from terrain.inputs.site import read_site

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="only POSIX splits processes off")


def test_two_runs_that_write_one_folder(tmp_path):
    """Each some hundred times, as fast as they can; only a word of the other is an excuse."""
    scene = Folder(tmp_path)

    def writing(first: int):
        def act():
            for number in range(100):
                scene.turn = first + number
                try:
                    scene.act()
                except InputError as error:
                    if "another run wrote this folder at the same time" not in str(error):
                        raise
        return act

    runs = [Child(writing(first), tmp_path) for first in (1000, 2000)]
    for run in runs:
        assert not run.end()
    assert is_whole(scene.out)
    assert len(scene._turns()) == 1
    assert scene._turns() <= {1099, 2099}
    assert left_over(tmp_path) == []


def test_scratch_of_a_run_that_lives_is_left_alone(tmp_path):
    from terrain.files import whole_folder

    with whole_folder(tmp_path / "plan") as draft:
        (draft / "a").write_text("first")
        for _ in range(3):
            def again():
                with whole_folder(tmp_path / "plan") as other:
                    (other / "a").write_text("second")
            assert not Child(again, tmp_path).end()
        assert (draft / "a").read_text() == "first"
    assert (tmp_path / "plan" / "a").read_text() == "first"
    assert left_over(tmp_path) == []


def test_a_plan_reads_a_site_file_that_a_bench_saves(small_site):
    """The old text or the new one, whole."""
    scene = Save(small_site.parent)

    def saving():
        for _ in range(60):
            scene.ready()
            scene.act()

    run = Child(saving, scene.home)
    seen = {read_site(small_site).name for _ in range(15)}
    assert not run.end()
    assert seen == {"Small valley"}
    assert small_site.read_text().startswith(scene.first)


@pytest.mark.slow
def test_two_districts_with_the_same_tiles(small_site, levelsill_process):
    import subprocess
    import sys
    from pathlib import Path

    home = small_site.parent
    make_district(home)
    command = Path(sys.executable).parent / "levelsill"
    runs = [subprocess.Popen([command, "district", home, "--workers", "1", "--side", "64"],
                             stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
            for _ in range(2)]
    for run in runs:
        _, said = run.communicate(timeout=900)
        assert run.returncode == 0 or "another run wrote this folder" in said, said
    first = contents(home / "district")
    assert is_whole(home / "district")
    assert levelsill_process("district", home, "--workers", 1, "--side", 64).code == 0
    assert contents(home / "district") == first
