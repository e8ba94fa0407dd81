"""What fuzzing found, tried again: every file is read or refused in one sentence.

`python tests/fuzz/fuzz.py` looks for more.
"""

from __future__ import annotations

import random
import shutil
from pathlib import Path

import pytest
from mutate import mutate, mutate_bytes
from readers import outcome, readers

FINDS = Path(__file__).parent / "finds"


def tried(name: str, data: bytes, folder: Path) -> str:
    reader = readers()[name]
    for file, content in reader.beside.items():
        (folder / file).write_bytes(content)
    path = folder / reader.file
    path.write_bytes(data)
    return outcome(reader, path)


@pytest.mark.parametrize("file", sorted(FINDS.glob("*/*")), ids=lambda file: file.name)
def test_a_find_is_read_or_refused(file, tmp_path):
    assert tried(file.parent.name.replace("-", " "), file.read_bytes(), tmp_path).startswith(
        ("read", "refused: "))


@pytest.mark.parametrize("name", readers())
def test_good_files_are_read_and_nearly_good_ones_read_or_refused(name, tmp_path):
    reader = readers()[name]
    for number, good in enumerate(reader.seeds):
        assert tried(name, good, tmp_path) == "read"
        rng = random.Random(number)
        for _ in range(5):
            changed = mutate(good, reader.seeds, rng) if reader.text else mutate_bytes(good, rng)
            shutil.rmtree(tmp_path)
            tmp_path.mkdir()
            tried(name, changed, tmp_path)
