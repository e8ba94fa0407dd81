"""What is killed while it writes, what must hold from outside then, and the run after that.

All must be as it was before or as it is to be; no source needed.
"""

from __future__ import annotations

import json
import shutil
import sqlite3
import zipfile
from pathlib import Path
from typing import Any

import yaml
from child import must

from terrain.bench.keeping import BACKUPS, SiteFile
from terrain.files import RECORD, fingerprint, whole_folder
from terrain.scratch import PREFIX


def contents(folder: Path, but: tuple[str, ...] = ()) -> dict[str, str]:
    """The SHA-256 of every file in a folder, by its name from there, but those that begin so."""
    return {name: fingerprint(path) for path in sorted(folder.rglob("*"))
            if path.is_file() and not (name := path.relative_to(folder).as_posix()).startswith(but)}


def left_over(folder: Path) -> list[str]:
    """Scratch that lies in a folder."""
    return sorted(path.name for path in folder.glob(f"{PREFIX}*"))


def is_whole(folder: Path) -> bool:
    """Whether an output is there: all that its record tells, nothing else, every file readable."""
    if not folder.exists():
        return False
    held = contents(folder)
    must(held.pop(RECORD, None), folder, "has no record, and holds", list(held))
    must(held == json.loads((folder / RECORD).read_text()), "the record of", folder, "does not fit")
    for name in held:
        read(folder / name)
    return True


def read(path: Path) -> None:
    """Read a file by its kind."""
    data = path.read_bytes()
    if path.suffix == ".json":
        json.loads(data)
    elif path.suffix == ".gpkg":
        base = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
        must(base.execute("PRAGMA integrity_check").fetchall() == [("ok",)], path, "is broken")
        base.close()
    elif path.suffix == ".xlsx":
        with zipfile.ZipFile(path) as held:
            must(held.testzip() is None, path, "is broken")
    elif path.suffix == ".png":
        must(data.endswith(b"IEND\xaeB`\x82"), path, "ends early")
    elif path.suffix == ".pdf":
        must(data.rstrip().endswith(b"%%EOF"), path, "ends early")
    elif path.suffix == ".html":
        must(data.rstrip().endswith(b"</html>"), path, "ends early")
    elif path.suffix == ".csv":
        must(data.endswith(b"\n"), path, "ends early")


class Scene:
    """Something that writes into an owner's folder.

    Attributes
    ----------
    home : Path
        The owner's folder: all in it but the outputs stays as it is.
    outputs : tuple of str
        Names in it that runs write, or beginnings of such names.
    turn : int
        Number of the run, which what it writes tells.
    goes_on : bool
        Whether a run goes on where a killed one was, and so takes less and less time.
    """

    name = ""
    outputs: tuple[str, ...] = ()
    goes_on = False

    def __init__(self, home: Path) -> None:
        self.home, self.turn = home, 0
        (home / "notes.txt").write_text("The gate by the creek is broken.\n")
        self.owned = self._own()

    def _own(self) -> dict[str, str]:
        return contents(self.home, (*self.outputs, PREFIX))

    def ready(self) -> None:
        """Look at what stands there before a run."""
        self.turn += 1

    def act(self) -> None:
        """Do the run's work; called in a child."""
        raise NotImplementedError

    def check(self) -> None:
        """See from outside that nothing is lost, and nothing there in part."""
        must(self._own() == self.owned, "the owner's own files have changed")

    def after(self) -> None:
        """Run again, without a word of what happened, and see that all is right."""

    def ended(self) -> None:
        """See that a run that came to its end did it right."""


class Folder(Scene):
    """A folder of small files, over one of the tool's own or where there is none."""

    name, outputs = "folder", ("plan/",)

    def __init__(self, home: Path) -> None:
        super().__init__(home)
        self.out = home / "plan"

    def ready(self) -> None:
        super().ready()
        if self.turn % 4 == 0 and self.out.exists():
            shutil.rmtree(self.out)
        self.before = contents(self.out)

    def act(self) -> None:
        with whole_folder(self.out) as draft:
            (draft / "field").mkdir()
            for number in range(4):
                (draft / f"{number}.json").write_text(json.dumps([self.turn] * 5000))
            (draft / "field" / "stakes.csv").write_text(f"{self.turn}\n" * 900)

    def check(self) -> None:
        super().check()
        if contents(self.out) != self.before:
            must(is_whole(self.out), "what was there is gone")
            must(self._turns() == {self.turn}, "runs are mixed:", self._turns())

    def _turns(self) -> set[int]:
        return {*(json.loads((self.out / f"{number}.json").read_text())[0] for number in range(4)),
                int((self.out / "field" / "stakes.csv").read_text().split()[0])}

    def after(self) -> None:
        self.turn += 1
        self.act()
        self.ended()

    def ended(self) -> None:
        must(is_whole(self.out), "nothing was written")
        must(self._turns() == {self.turn}, "this is another run's:", self._turns())
        must(not left_over(self.home), "scratch of the dead stays:", left_over(self.home))


class Plan(Folder):
    """Layers, quantities and plan.json of a plan, by their own writers."""

    name = "plan"

    def __init__(self, home: Path, plan: Any) -> None:
        from terrain.outputs.data.plan_json import plan_object
        from terrain.outputs.field.setting_out import setting_out

        super().__init__(home)
        self.plan, self.field, self.told = plan, setting_out(plan), plan_object(plan)

    def act(self) -> None:
        from terrain.outputs.gis.geopackage import write_geopackage
        from terrain.outputs.quantities.workbook import write_quantities

        with whole_folder(self.out) as draft:
            self._tell(draft)
            write_geopackage(self.plan, draft / "plan.gpkg", self.field)
            write_quantities(self.plan, draft)

    def _tell(self, draft: Path) -> None:
        (draft / "plan.json").write_text(json.dumps({**self.told, "turn": self.turn}))

    def _turns(self) -> set[int]:
        return {json.loads((self.out / "plan.json").read_text())["turn"]}

    def after(self) -> None:
        """The shortest file is enough: what counts is that it comes to its place."""
        self.turn += 1
        with whole_folder(self.out) as draft:
            self._tell(draft)
        self.ended()


class WholePlan(Plan):
    """Everything that `levelsill plan` writes, with the process that it splits off."""

    name = "whole plan"

    def act(self) -> None:
        from terrain.outputs.folder import write_plan

        write_plan(self.plan, self.out)

    def _turns(self) -> set[int]:
        return {json.loads((self.out / "plan.json").read_text()).get("turn", self.turn)}


class Save(Scene):
    """A bench sets a text aside and saves it into the site file."""

    name, outputs = "save", ("site.yaml", BACKUPS, ".site.yaml.")

    def __init__(self, home: Path) -> None:
        super().__init__(home)
        self.path = home / "site.yaml"
        self.first = self.path.read_text()
        self.texts = {self.first}

    @property
    def text(self) -> str:
        return f"{self.first}# {self.turn} {'x' * (self.turn % 5 * 8_000)}\n"

    def ready(self) -> None:
        super().ready()
        self.before = self.path.read_text()
        self.texts.add(self.text)

    def act(self) -> None:
        file = SiteFile(self.path)
        file.set_aside()
        file.keep_aside(self.text)
        file.save(self.text)
        file.forget_aside()
        file.close()

    def check(self) -> None:
        super().check()
        now = self.path.read_text()
        kept = [path.read_text() for path in (self.home / BACKUPS).glob("site*.yaml")]
        must(now in (self.before, self.text), "the site file is neither the old nor the new one")
        must(self.texts.issuperset(kept), "a backup is in part")
        must(now == self.before or self.before in kept, "what was replaced is in no backup")

    def after(self) -> None:
        self.ready()
        file = SiteFile(self.path)
        aside = file.set_aside()
        must(aside is None or aside.text in self.texts, "what was set aside is in part")
        must(not file.notes, file.notes)
        file.save(self.text)
        file.close()
        self.ended()

    def ended(self) -> None:
        self.check()
        must(self.path.read_text() == self.text, "what was saved is not there")
        drafts = [path.name for path in self.home.rglob(".*draft*")]
        must(not drafts, "drafts of the dead stay:", drafts)


class District(Scene):
    """A small district screened by the tasks that workers do, here one after the other; each run
    goes on with the tiles and parcels that the last one finished."""

    name, outputs, goes_on = "district", ("district/", "district tiles/"), True

    def __init__(self, home: Path) -> None:
        make_district(home)
        super().__init__(home)
        self.out, self.tiles = home / "district", home / "district tiles"
        self.right: dict[str, str] = {}

    def _anew(self) -> None:
        shutil.rmtree(self.tiles)
        if self.turn % 2 == 0:
            shutil.rmtree(self.out)

    def act(self) -> None:
        from terrain.district.screening import screen
        from terrain.outputs.district.district_folder import write_screening

        write_screening(screen(self.home / "district.yaml", self.tiles, side=64), self.out)

    def check(self) -> None:
        super().check()
        if is_whole(self.out):
            must(contents(self.out) == self.right, "it is not what a run gives that is not killed")

    def ended(self) -> None:
        must(is_whole(self.out), "nothing was written")
        self.right = self.right or contents(self.out)  # the first run is never killed
        self.check()
        must(not left_over(self.home), "scratch of the dead stays:", left_over(self.home))
        self._anew()


def make_district(home: Path) -> None:
    """Write district.yaml beside the small site's file, of two parcels on its ground."""
    import geopandas
    from shapely.geometry import box

    geopandas.GeoDataFrame([
        {"name": "west", "geometry": box(500010, 6399850, 500060, 6399980)},
        {"name": "east", "geometry": box(500060, 6399850, 500110, 6399980)}],
        geometry="geometry", crs="EPSG:32734").to_file(home / "parcels.geojson")
    given = yaml.safe_load((home / "site.yaml").read_text())
    del given["works"], given["boundary"]
    (home / "district.yaml").write_text(yaml.safe_dump(
        {**given, "parcels": {"file": "parcels.geojson"}}, sort_keys=False))
