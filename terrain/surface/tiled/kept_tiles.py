"""Finished tiles on disk, each with its SHA-256, so that a run that was stopped goes on."""

from __future__ import annotations

import errno
import hashlib
import json
import os
import tempfile
import time
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain.errors import InputError
from terrain.files import put_whole, usual_mode

#: In the folder: whose tiles these are.
OWNER = "owner.json"
#: How names of files begin that are being written; older ones are nobody's any more. [s]
DRAFT, STALE = ".draft-", 3600
#: Arrays begin at multiples of this. [bytes]
ALIGNED = 64
#: What has changed where another owner has another word for these.
_CHANGED = {"ground": "the elevation or the culverts", "rows": "the cut into tiles",
            "columns": "the cut into tiles", "made by": "the version of levelsill"}


@dataclass(frozen=True)
class KeptTiles:
    """A folder with a folder for each step, and in it two files for each tile: its arrays, one
    after the other, and, written last, their names, kinds, shapes and places and the SHA-256 of
    them all."""

    folder: Path

    def begin(self, owner: Mapping[str, Any]) -> None:
        """Take the folder for one run, or go on with the same one.

        Raises
        ------
        InputError
            If it holds tiles of another raster, or cut in another way, or of another version, or
            something else, or cannot be written.
        """
        try:
            self._begin(owner)
        except InputError:
            raise
        except OSError as error:
            raise not_kept(self.folder, error) from None

    def _begin(self, owner: Mapping[str, Any]) -> None:
        self.folder.mkdir(parents=True, exist_ok=True)
        path, wanted = self.folder / OWNER, json.dumps(owner, sort_keys=True)
        if not path.exists():
            strange = any(not one.name.startswith(DRAFT) for one in self.folder.iterdir())
            if strange and not path.exists():  # else another run has just begun there
                raise InputError(str(self.folder), "it holds files that are no tiles",
                                 "Name an empty folder, or a new one, for the tiles")
            try:
                put_whole(path, wanted.encode(), over=False, draft_name=DRAFT)
            except (InputError, FileExistsError):
                if not path.exists():
                    raise
        held = path.read_text(encoding="utf-8")
        if held != wanted:
            raise InputError(
                str(self.folder), "its tiles belong to something else: "
                f"{_difference(held, json.loads(wanted))} changed since they were made",
                "Name another folder for the tiles (--tiles), or take this one away, as tiles "
                "can be made again")
        for draft in self.folder.rglob(f"{DRAFT}*"):  # whoever was killed left it
            with suppress(OSError):
                if time.time() - draft.stat().st_mtime > STALE:
                    draft.unlink()

    def _files(self, step: str, number: int) -> tuple[Path, Path]:
        folder = self.folder / step
        return folder / f"{number:07d}.tile", folder / f"{number:07d}.json"

    def put(self, step: str, number: int, arrays: Mapping[str, NDArray[Any]]) -> None:
        """Keep a tile's arrays.

        Two workers that make the same tile at once do no harm: they write the same bytes.

        Raises
        ------
        InputError
            If it cannot be written.
        """
        data, seal = self._files(step, number)
        places, pieces, at = {}, [], 0
        for name, given in arrays.items():
            array = np.ascontiguousarray(given)
            places[name] = [at, array.dtype.str, list(array.shape)]
            pad = -array.nbytes % ALIGNED
            if array.size:
                pieces += [array.reshape(-1).view(np.uint8).data, memoryview(bytes(pad))]
            at += array.nbytes + pad
        digest = hashlib.sha256(json.dumps(places).encode())
        for piece in pieces:
            digest.update(piece)
        try:
            data.parent.mkdir(parents=True, exist_ok=True)
            _replace(data, pieces)
            _replace(seal, [json.dumps({"sha256": digest.hexdigest(), "arrays": places}).encode()])
        except OSError as error:
            raise not_kept(self.folder, error) from None

    def holds(self, step: str, number: int) -> bool:
        """Whether a tile is there with the very bytes that were written."""
        data, seal = self._files(step, number)
        try:
            told = json.loads(seal.read_text(encoding="utf-8"))
            digest = hashlib.sha256(json.dumps(told["arrays"]).encode())
            with open(data, "rb") as stream:
                while piece := stream.read(1 << 20):
                    digest.update(piece)
            return bool(digest.hexdigest() == told["sha256"])
        except (OSError, ValueError, KeyError, TypeError):
            return False

    def get(self, step: str, number: int, *names: str) -> list[NDArray[Any]]:
        """Arrays of a tile, in memory."""
        data, places = self._places(step, number)
        found = []
        for name in names:
            at, kind, shape = places[name]
            found.append(np.fromfile(data, kind, int(np.prod(shape)), offset=at).reshape(shape))
        return found

    def mapped(self, step: str, number: int, name: str) -> NDArray[Any]:
        """An array of a tile, read from its file where it is asked for."""
        data, places = self._places(step, number)
        at, kind, shape = places[name]
        if 0 in shape:
            return np.empty(shape, kind)
        return np.memmap(data, kind, "r", at, tuple(shape))

    def _places(self, step: str, number: int) -> tuple[Path, dict[str, Any]]:
        data, seal = self._files(step, number)
        return data, json.loads(seal.read_text(encoding="utf-8"))["arrays"]


def not_kept(folder: Path, error: OSError) -> InputError:
    """Why nothing could be kept in the folder of tiles, in a sentence."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return InputError(str(folder), "the disk is full, so tiles cannot be kept there",
                          "Free some space and run again, as finished tiles are not made again, or "
                          "name a folder on another disk for them (--tiles)")
    return InputError(str(folder), f"tiles cannot be kept there ({error.strerror})",
                      "Name a folder of your own for the tiles")


def _difference(held: str, wanted: Mapping[str, Any]) -> str:
    """What is not the same of two owners, in words."""
    try:
        other = dict(json.loads(held))
    except (ValueError, TypeError):
        other = {}
    found = dict.fromkeys(_CHANGED.get(name, name) for name in (*wanted, *other)
                          if wanted.get(name) != other.get(name))
    return " and ".join(found)


def _replace(path: Path, pieces: Iterable[memoryview | bytes]) -> None:
    """Write a file beside its place and move it there, so that none stands there in part.

    What loses power may leave one: its SHA-256 tells.
    """
    number, name = tempfile.mkstemp(dir=path.parent, prefix=DRAFT)
    try:
        with open(number, "wb", buffering=0) as stream:
            for piece in pieces:
                left = memoryview(piece)
                while left:
                    left = left[stream.write(left):]
        os.chmod(name, usual_mode())  # workers of another user are to read it
        os.replace(name, path)
    except BaseException:
        os.unlink(name)
        raise
