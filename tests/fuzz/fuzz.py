"""Every reader of a person's files, fed with broken ones.

Run:  .venv/bin/pip install -e '.[fuzz]'
      .venv/bin/python tests/fuzz/fuzz.py [--inputs 20000] [--seed 1] [--reader NAME ...]
          [--keep FOLDER]

Each reader runs in a process of its own, guided by the code that its inputs reach (atheris, that
is libFuzzer); text is changed by words, numbers and lines as well as by bytes.  An input may be
read, or refused in one sentence; it may not raise anything else, take longer than 20 s or more than
3 GB, change the file, or be read otherwise a second time.  Finds are kept in FOLDER; those that
were mended belong into tests/fuzz/finds/READER, where test_finds.py tries them for ever.  Ends with
1 if there are any.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

from readers import readers

HERE = Path(__file__).parent


def run(name: str, runs: int, seed: int, folder: Path) -> dict[str, Any]:
    """What became of one reader's inputs."""
    began = time.perf_counter()
    done = subprocess.run([sys.executable, HERE / "one.py", name, str(runs), str(seed), folder],
                          capture_output=True, text=True, errors="replace", check=False)
    file = folder / "told.json"
    told = json.loads(file.read_text()) if file.exists() else {
        "reader": name, "read": 0, "refused": 0, "faults": {}, "slowest_s": 0, "memory_mb": 0}
    told["finds"] = sorted(str(file) for file in (folder / "finds").glob("*"))
    told["said"] = [line for line in done.stderr.splitlines() if line.startswith("FIND")]
    if done.returncode and not told["finds"]:
        told["said"].append(f"it ended with {done.returncode}: {done.stderr[-400:]}")
        told["finds"].append("")
    told["seconds"] = time.perf_counter() - began
    return told


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--inputs", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--reader", action="append", choices=list(readers()))
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--processes", type=int, default=2)
    given = parser.parse_args()
    names = given.reader or list(readers())
    each = -(-given.inputs // len(names))
    keep = given.keep or Path(tempfile.mkdtemp(prefix="fuzz-"))
    bad = total = 0
    with ThreadPoolExecutor(given.processes) as pool:
        for told in pool.map(lambda name: run(name, each, given.seed,
                                              keep / name.replace(" ", "-")), names):
            tried = told["read"] + told["refused"] + sum(told["faults"].values())
            total += tried
            print(f"{told['reader']:20} {tried:7,} inputs: {told['read']:6,} read, "
                  f"{told['refused']:6,} refused; slowest {told['slowest_s']:.2f} s, "
                  f"{told['memory_mb']:,} MB, {told['seconds']:.0f} s in all"
                  f"{'; FINDS' if told['finds'] else ''}", flush=True)
            for line in (*told["said"], *told["finds"]):
                print(f"    {line}", flush=True)
            bad += len(told["finds"])
    print(f"{total:,} inputs, {bad} finds, kept in {keep}")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
