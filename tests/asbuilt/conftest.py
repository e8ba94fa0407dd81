"""The small site's plan, and surveys of it written as a person writes them."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from terrain.asbuilt.asbuilt import as_built
from terrain.asbuilt.designed_lines import designed_lines


@dataclass(frozen=True)
class Surveys:
    """Writes surveys of a plan and holds them against it."""

    plan: Any
    stakes: Any
    folder: Path

    def line(self, work: str, name: str):
        """A designed line by its work and name."""
        [found] = [line for line in designed_lines(self.plan)
                   if line.work == work and line.name == name]
        return found

    def rows(self, work: str, name: str, errors, settled=False) -> list[list[str]]:
        """Rows evenly along a line, each so many m too high."""
        line = self.line(work, name)
        start, end = line.spans[0][0], line.spans[-1][1]
        found = []
        for i, error in enumerate(errors):
            at = start + (end - start) * i / max(len(errors) - 1, 1)
            level = line.level_at(at) - (line.settles_at(at) if settled else 0.0) + error
            found.append([work, line.marks[0], f"{at:.4f}", f"{level:.5f}"])
        return found

    def file(self, rows, head=("work", "mark", "station_m", "elevation_m")) -> Path:
        path = self.folder / f"{len(list(self.folder.iterdir()))}.csv"
        with open(path, "w", newline="", encoding="utf-8") as stream:
            csv.writer(stream).writerows([head, *rows])
        return path

    def found(self, rows, head=("work", "mark", "station_m", "elevation_m"), **more):
        return as_built(self.plan, self.file(rows, head), self.stakes, **more)


@pytest.fixture(scope="session")
def small_plan(small_site_folder, tmp_path_factory):
    from terrain.plan.plan import make_plan

    return make_plan(small_site_folder(tmp_path_factory.mktemp("asbuilt")))


@pytest.fixture
def surveys(small_plan, tmp_path):
    from terrain.outputs.field.stakes import stakes_of

    return Surveys(small_plan, stakes_of(small_plan), tmp_path)
