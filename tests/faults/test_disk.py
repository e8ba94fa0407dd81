"""A full disk and one that takes no writing: a sentence that names the folder, all as it was."""

from __future__ import annotations

import os
import shutil

import pytest
from child import Child
from scenes import Plan, contents, left_over, make_district

from terrain.bench.keeping import SiteFile
from terrain.errors import InputError

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="only POSIX mounts disks so")
#: Plenty for the small site and a plan.
ROOM = 64 << 20


def filled(place, leave: int):
    """Fill a disk but for so many bytes."""
    left = shutil.disk_usage(place).free - leave
    with open(place / "filling", "wb") as stream:
        os.posix_fallocate(stream.fileno(), 0, max(left, 1))


def plain(error) -> str:
    """A message, which is one plain sentence and what to do."""
    said = str(error.value) if hasattr(error, "value") else str(error)
    assert "\n" not in said
    assert said.endswith(".")
    return said


@pytest.mark.parametrize("leave", [0, 400_000, *(pytest.param(
    size, marks=pytest.mark.slow) for size in (8_192, 100_000, 900_000))])
def test_a_disk_that_fills_up_keeps_the_last_plan(disk, small_plan, leave):
    place = disk(ROOM)
    home = place / "home"
    home.mkdir()
    scene = Plan(home, small_plan)
    scene.ready()
    scene.act()
    before = contents(home)
    filled(place, leave)
    scene.turn += 1
    with pytest.raises(InputError) as error:
        scene.act()
    assert "the disk is full" in plain(error)
    assert str(home) in plain(error)
    assert contents(home) == before
    (place / "filling").unlink()
    scene.act()
    scene.ended()


@pytest.mark.parametrize("leave", [0, 4096, 8192, 12_288])
def test_a_site_file_on_a_full_disk_stays(disk, leave):
    place = disk(1 << 20)
    path = place / "site.yaml"
    path.write_text("works: []\n")
    file = SiteFile(path)
    file.save("works: []  # once\n")
    filled(place, leave)
    with pytest.raises(InputError) as error:
        file.save("works: []  # " + "x" * 20_000)
    assert "the disk is full, so nothing was saved" in plain(error)
    assert path.read_text() == file.text == "works: []  # once\n"
    with pytest.raises(InputError) as error:
        file.keep_aside("works: []  # " + "x" * 20_000)
    (place / "filling").unlink()
    file.save("works: []  # twice\n")
    file.close()


def test_a_disk_that_takes_no_writing_changes_nothing(disk, freeze, small_plan):
    place = disk(ROOM)
    home = place / "home"
    home.mkdir()
    (home / "site.yaml").write_text("works: []\n")
    scene = Plan(home, small_plan)
    scene.ready()
    scene.act()
    before = contents(home)
    freeze(place)
    with pytest.raises(InputError, match="nothing may be written in this folder") as error:
        scene.act()
    assert str(home) in plain(error)
    file = SiteFile(home / "site.yaml")
    with pytest.raises(InputError, match="so nothing was saved") as error:
        file.save("works:\n")
    plain(error)
    file.close()
    assert contents(home) == before


def test_who_may_not_write_is_told(tmp_path, small_plan):
    """Permissions do not bind the system's keeper, so a child gives his rights away."""
    scene = Plan(tmp_path, small_plan)
    scene.ready()
    before = contents(tmp_path)
    for folder in (tmp_path, *tmp_path.parents):
        folder.chmod(0o755)
        if folder.name.startswith("pytest-of-"):
            break

    def act():
        if os.getuid() == 0:
            os.setuid(65534)
        else:
            tmp_path.chmod(0o555)
        with pytest.raises(InputError, match="nothing may be written in this folder") as error:
            scene.act()
        plain(error)

    Child(act, tmp_path).end()
    tmp_path.chmod(0o755)
    assert contents(tmp_path) == before


@pytest.mark.slow
@pytest.mark.parametrize("command", ["plan", "district"])
def test_real_commands_on_a_disk_that_fills_up(disk, small_site, levelsill_process, command):
    place = disk(ROOM)
    home = place / "small"
    shutil.copytree(small_site.parent, home)
    make_district(home)
    words = (command, home, *(("--workers", 1, "--side", 64) if command == "district" else ()))
    out = home / command
    ran = levelsill_process(*words)
    assert ran.code == 0, ran.err
    before = contents(out)
    for leave in (0, 60_000, 700_000, 2_500_000):
        shutil.rmtree(home / "district tiles", ignore_errors=True)
        filled(place, leave)
        ran = levelsill_process(*words)
        said = ran.err.rstrip().split("\n")[-1]
        if ran.code:
            assert ran.code == 2, ran.err
            assert said.startswith(f"levelsill: {place}"), ran.err
            assert "full" in said
            assert "Traceback" not in ran.err
        assert contents(out) == before
        assert left_over(home) == []
        (place / "filling").unlink()
    ran = levelsill_process(*words)
    assert ran.code == 0, ran.err
    assert contents(out) == before
