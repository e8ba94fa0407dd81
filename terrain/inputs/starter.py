"""A new site's folder: a site file full of comments, or the demo site."""

from __future__ import annotations

import shutil
from importlib import resources
from pathlib import Path

from terrain.errors import InputError


def demo_folder() -> Path:
    """Where the demo site's files are: in the installed package, or beside it in a checkout."""
    here = Path(str(resources.files("terrain")))
    for folder in (here / "demo_dem", here.parent / "demo_dem"):
        if (folder / "site.yaml").is_file():
            return folder
    raise InputError("levelsill", "the demo site is missing from this installation",
                     "Install levelsill again")


def begin(folder: Path, demo: bool) -> Path:
    """Make a folder with a site file in it, and say which.

    Raises
    ------
    InputError
        If the folder holds a file of one of those names already.
    """
    folder = Path(folder)
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
            shutil.copyfile(source, target)
    except OSError as error:
        raise InputError(str(folder), f"it cannot be written ({error.strerror})",
                         "Name a folder of your own") from None
    return folder / "site.yaml"
