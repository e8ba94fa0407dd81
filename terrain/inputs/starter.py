"""A new site's folder: a site file full of comments, or the demo site."""

from __future__ import annotations

import re
import shutil
from importlib import resources
from pathlib import Path

from terrain.errors import InputError
from terrain.inputs.fields import UnitSystem

#: What the site file of comments says in metric units, and what it says in US ones: round figures
#: near by, and levels to a hundredth of a foot.
IN_US = {
    "units: metric": "units: us", "25 m2": "270 ft2", "0.2 m": "8 in", "10 m": "33 ft",
    "3.5 m": "11.5 ft", "125 mm": "5 in", "90 mm": "3.5 in", "12 mm": "0.47 in", "60 mm": "2.4 in",
    "38 mm": "1.5 in", "200 mm": "7.9 in", "170 mm": "6.7 in", "150 mm": "5.9 in",
    "110 mm": "4.3 in", "80 mm": "3.1 in", "65 mm": "2.6 in", "120 mm": "4.7 in",
    "160 mm": "6.3 in", "180 mm": "7.1 in", "1218.4 m": "3997.38 ft", "1.5 m": "4.9 ft",
    "2 m": "6.5 ft", "4 m": "13 ft", "[700, 1100]": "[2.6, 4.2]", "a m3": "a gallon",
    "[8, 14]": "[2.4, 4.3]", "a metre": "a foot", "5 m3": "1320 gal", "40 m": "130 ft",
    "60 m": "200 ft", "0.3 m": "1 ft", "10 mm/h": "0.4 in/h", "1206.9 m": "3959.65 ft",
    "0.45 m": "1.5 ft", "1208.9 m": "3966.21 ft", "0.8 m": "2.6 ft", "3 m": "10 ft",
    "2.5 m": "8 ft", "20 m3": "5300 gal", "0.5 mm": "0.02 in", "200 L/day": "53 gal/day",
    "50 L/day": "13 gal/day", "2 m3": "530 gal", "10 m3": "2640 gal",
    "205 mm": "8.1 in", "rain_mm": "rain_in"}
#: What lies in the southern half of the world there, and in the United States here: months half a
#: year on, points 2,400 km further north (their northings count from the equator), plain words.
_ELSEWHERE = (
    ("205 mm, 170 mm, 150 mm, 110 mm, 80 mm, 60 mm, 65 mm, 90 mm, 120 mm, 160 mm, 180 mm, 200 mm",
     "65 mm, 90 mm, 120 mm, 160 mm, 180 mm, 200 mm, 205 mm, 170 mm, 150 mm, 110 mm, 80 mm, 60 mm"),
    ("southern half of the world, January the", "northern half of the world, July the"),
    (", 6430", ", 4030"), ("EPSG:32734", "EPSG:26913"), ("{veld:", "{grassland:"),
    ("name: the pan", "name: low spot"), ("a tanker comes", "a water truck comes"))
_METRIC = re.compile(rf"(?<![\w.])({'|'.join(map(re.escape, sorted(IN_US, key=len)[::-1]))})"
                     r"(?![\w/])")
#: Lines that stay: kinds of quantity in either system, and what a public raster is called.
_STAYS = ("1.2 in", "lidar tile")


def demo_folder() -> Path:
    """Where the demo site's files are: in the installed package, or beside it in a checkout."""
    here = Path(str(resources.files("terrain")))
    for folder in (here / "demo_dem", here.parent / "demo_dem"):
        if (folder / "site.yaml").is_file():
            return folder
    raise InputError("levelsill", "the demo site is missing from this installation",
                     "Install levelsill again")


def in_us_units(text: str) -> str:
    """The site file of comments with US units, of a place in the United States; what stands
    behind a line keeps its column."""
    lines = []
    for there, here in _ELSEWHERE:
        text = text.replace(there, here)
    for line in text.splitlines():
        if not any(words in line for words in _STAYS):
            said, gap, comment = line.rpartition("  # ")
            at = len(said)
            said, comment = (_METRIC.sub(lambda found: IN_US[found[1]], part)
                             for part in (said.rstrip(), comment))
            line = f"{said:{at}}{gap}{comment}"
        lines.append(line)
    return "\n".join(lines) + "\n"


def begin(folder: Path, demo: bool, units: UnitSystem = "metric") -> Path:
    """Make a folder with a site file in it, and say which.

    Raises
    ------
    InputError
        If the folder holds a file of one of those names already, or the demo site is asked for in
        US units.
    """
    folder = Path(folder)
    if demo and units == "us":
        raise InputError("--units", "the demo site is in metric units", "Leave --units out; "
                         "levelsill start DIR --units us makes a new site file in US units")
    sources = ([f for f in sorted(demo_folder().iterdir()) if f.is_file() and f.suffix != ".py"]
               if demo else [Path(str(resources.files("terrain.inputs") / "starter.yaml"))])
    targets = [folder / ("site.yaml" if not demo else source.name) for source in sources]
    for target in targets:
        if target.exists():
            raise InputError(str(target), "there is a file of that name already",
                             "Name another folder")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for source, target in zip(sources, targets, strict=True):
            if units == "us":
                target.write_text(in_us_units(source.read_text(encoding="utf-8")),
                                  encoding="utf-8")
            else:
                shutil.copyfile(source, target)
    except OSError as error:
        raise InputError(str(folder), f"it cannot be written ({error.strerror})",
                         "Name a folder of your own") from None
    return folder / "site.yaml"
