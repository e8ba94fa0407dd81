"""What was found of each parcel, kept in the folder of the tiles: a run that was stopped, or is
asked for another page, looks only at the others."""

from __future__ import annotations

import hashlib
import pickle
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, fields, is_dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas
from shapely.geometry.base import BaseGeometry

from terrain import __version__
from terrain.district.parcel import Shared, Surroundings
from terrain.district.screened import Parcel, Screened
from terrain.files import put_whole
from terrain.surface.tiled.kept_tiles import DRAFT

#: How the folder's name begins.
FOLDER = "parcels"
#: What of a district file changes nothing that is found of a parcel; and its parcels and things to
#: keep clear of, which are told parcel by parcel.
_NOTHING = {"name", "parcels", "keep_clear", "pages", "sites", "rank_by"}
#: Letters of a SHA-256 in a name; bytes of one before what it is of.
_NAMED, _SEAL = 16, 32


@dataclass(frozen=True)
class KeptParcels:
    """A folder with a file for each parcel that was looked at without a fault: the SHA-256 of what
    follows, then a `Screened`."""

    folder: Path

    @classmethod
    def of(cls, tiles: Path, shared: Shared) -> KeptParcels:
        """That of all that the parcels' answers rest on together."""
        opened = shared.opened
        district = opened.district
        said = district.model_dump(exclude=_NOTHING)
        stamps = []
        for path in sorted({district.folder / one for one in _paths(said)}):
            with suppress(OSError):
                told = path.stat()
                stamps.append((str(path), told.st_size, told.st_mtime_ns))
        digest = content_of((__version__, opened.work.ground.identity(), opened.kept.ground,
                             opened.kept.outlines, said, stamps, shared.kinds, shared.rain))
        return cls(tiles / f"{FOLDER}-{digest[:_NAMED]}")

    def file(self, shared: Shared, parcel: Parcel, about: Surroundings) -> Path:
        """Where a parcel is kept; another outline, name or surroundings have another."""
        opened = shared.opened
        digest = content_of((replace(parcel, page=False), about,
                             opened.faults.get(parcel.number), opened.told.get(parcel.number),
                             opened.parts.get(parcel.number)))
        return self.folder / f"{parcel.number:07d}-{digest[:_NAMED]}.parcel"


def put_parcel(path: Path, found: Screened) -> None:
    """Keep a parcel; where there is no room, it will be looked at again."""
    data = pickle.dumps(found)
    with suppress(OSError):
        put_whole(path, hashlib.sha256(data).digest() + data, draft_name=DRAFT)


def kept_parcel(path: Path, parcel: Parcel) -> Screened | None:
    """What was found of a parcel; None where it is not there with the very bytes that were
    written."""
    try:
        data = path.read_bytes()
    except OSError:
        return None
    if hashlib.sha256(data[_SEAL:]).digest() != data[:_SEAL]:
        return None
    found: Screened = pickle.loads(data[_SEAL:])
    return replace(found, parcel=parcel)


def content_of(value: Any) -> str:
    """SHA-256 of what a value holds, in hexadecimal: the same in every process, where it is made of
    what `_pieces` knows."""
    digest = hashlib.sha256()
    for piece in _pieces(value):
        digest.update(len(piece).to_bytes(8, "big"))
        digest.update(piece)
    return digest.hexdigest()


def _pieces(value: Any) -> Iterator[bytes]:
    """The bytes of a value, part by part."""
    yield type(value).__qualname__.encode()
    if value is None or isinstance(value, bool | int | float | complex | str | Path):
        yield repr(value).encode()
    elif isinstance(value, bytes):
        yield value
    elif isinstance(value, np.ndarray | np.generic):
        array = np.asarray(value)
        yield f"{array.dtype} {array.shape}".encode()
        if array.dtype.hasobject:
            yield from _pieces(array.tolist())
        else:
            yield array.tobytes()
    elif isinstance(value, BaseGeometry):
        yield value.wkb
    elif isinstance(value, pandas.Series):
        yield from _pieces([value.index.to_numpy(), value.to_numpy()])
    elif isinstance(value, Mapping):
        yield from _listed([part for pair in value.items() for part in pair])
    elif isinstance(value, list | tuple):
        yield from _listed(value)
    elif isinstance(value, set | frozenset):
        yield from _listed(sorted(map(content_of, value)))
    elif is_dataclass(value) and not isinstance(value, type):
        yield from _listed([getattr(value, field.name) for field in fields(value)])
    else:
        yield pickle.dumps(value)


def _listed(parts: Any) -> Iterator[bytes]:
    yield f"{len(parts)}".encode()
    for part in parts:
        yield from _pieces(part)


def _paths(said: Any) -> Iterator[Path]:
    """The files that are named anywhere in what a district file says."""
    if isinstance(said, Path):
        yield said
    elif isinstance(said, Mapping | list | tuple):
        for part in said.values() if isinstance(said, Mapping) else said:
            yield from _paths(part)
