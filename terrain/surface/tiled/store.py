"""Finished tiles on disk, each with the SHA-256 of every array, so that a run can go on."""

from __future__ import annotations

import hashlib
import io
import json
import os
import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

#: In a tile's folder, written last: names of its arrays and their SHA-256.
SEAL = "seal.json"
#: In the store's folder: whose tiles these are.
OWNER = "owner.json"


@dataclass(frozen=True)
class TileStore:
    """A folder with a folder for each step, and in it one for each tile."""

    folder: Path

    def begin(self, owner: Mapping[str, Any]) -> None:
        """Take the folder for one run, or go on with the same one.

        Raises
        ------
        ValueError
            If it holds tiles of another raster, or cut in another way.
        """
        self.folder.mkdir(parents=True, exist_ok=True)
        path, wanted = self.folder / OWNER, json.dumps(owner, sort_keys=True)
        if path.exists():
            if path.read_text(encoding="utf-8") != wanted:
                raise ValueError(f"{self.folder} holds tiles of another raster or of another cut")
        elif any(self.folder.iterdir()):
            raise ValueError(f"{self.folder} holds files that are no tiles")
        else:
            path.write_text(wanted, encoding="utf-8")

    def place(self, step: str, number: int) -> Path:
        """The folder of a tile of a step."""
        return self.folder / step / f"{number:07d}"

    def put(self, step: str, number: int, arrays: Mapping[str, NDArray[Any]]) -> None:
        """Keep a tile's arrays; they appear whole or not at all."""
        place = self.place(step, number)
        place.parent.mkdir(parents=True, exist_ok=True)
        draft = Path(tempfile.mkdtemp(dir=place.parent, prefix=".draft-"))
        try:
            seal = {name: _write(draft / f"{name}.npy", array) for name, array in arrays.items()}
            (draft / SEAL).write_text(json.dumps(seal), encoding="utf-8")
            while True:
                try:
                    os.rename(draft, place)
                    break
                except OSError:  # a corrupt one stands there, or another worker's
                    if not place.exists():
                        raise
                    shutil.rmtree(place, ignore_errors=True)
        finally:
            shutil.rmtree(draft, ignore_errors=True)

    def holds(self, step: str, number: int) -> bool:
        """Whether a tile is there with the very bytes that were written."""
        place = self.place(step, number)
        try:
            seal = json.loads((place / SEAL).read_text(encoding="utf-8"))
            return all(_digest(place / f"{name}.npy") == digest for name, digest in seal.items())
        except (OSError, ValueError, AttributeError):
            return False

    def get(self, step: str, number: int, name: str) -> NDArray[Any]:
        """An array of a tile, mapped from its file."""
        path = self.place(step, number) / f"{name}.npy"
        mapped: NDArray[Any] = np.load(path, mmap_mode="r")
        return mapped


def _write(path: Path, array: NDArray[Any]) -> str:
    """Write an array as NumPy does, and give the SHA-256 of the file."""
    array = np.ascontiguousarray(array)
    head = io.BytesIO()
    np.lib.format.write_array_header_1_0(head, np.lib.format.header_data_from_array_1_0(array))
    digest = hashlib.sha256(head.getvalue())
    with open(path, "wb") as stream:
        stream.write(head.getvalue())
        if array.size:
            body = memoryview(array).cast("B")
            digest.update(body)
            stream.write(body)
    return digest.hexdigest()


def _digest(path: Path) -> str:
    with open(path, "rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
