"""Disks that are full or take no writing, and names of processes."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Callable[..., Path]]:
    """Mounts a disk in memory of so many bytes, with options; skipped where that is not allowed."""
    made = []

    def mounted(size: int, *options: str) -> Path:
        place = tmp_path / f"disk {len(made)}"
        place.mkdir(exist_ok=True)
        done = subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", place],
                              capture_output=True, check=False) if hasattr(os, "fork") else None
        if done is None or done.returncode:
            pytest.skip("no disk can be mounted here")
        made.append(place)
        return place

    yield mounted
    for place in made:
        subprocess.run(["umount", place], check=True)


@pytest.fixture
def freeze() -> Callable[[Path], None]:
    """Makes a mounted disk take no more writing."""
    def frozen(place: Path) -> None:
        subprocess.run(["mount", "-o", "remount,ro", place], check=True)
    return frozen
