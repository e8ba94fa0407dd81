"""Makes a site's plan.json with several Pythons and numbers of threads, and compares the bytes.

    python tests/sameness/across.py /opt/venv-3.12/bin/python /opt/venv-3.13/bin/python

Each Python must have levelsill installed.  The first in the table is the one that runs this.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

DEMO = Path(__file__).resolve().parents[2] / "demo_dem" / "site.yaml"
#: Prints versions in a line, then the whole of plan.json, with no more cores than told.
MAKES = """
import os, sys
from pathlib import Path
sys.path[:] = [path for path in sys.path if path != ""]
cores = int(sys.argv[2])
if hasattr(os, "sched_setaffinity"):
    os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:cores])
import json, platform
import numba, numpy, scipy, shapely
from terrain.outputs.data.plan_json import plan_object
from terrain.plan.plan import make_plan
made = plan_object(make_plan(Path(sys.argv[1])))
out = sys.stdout.buffer
out.write(f"Python {platform.python_version()}, numpy {numpy.__version__}, scipy "
          f"{scipy.__version__}, numba {numba.__version__}, shapely {shapely.__version__}, GEOS "
          f"{shapely.geos_version_string}\\n".encode())
out.write((json.dumps(made, indent=1, ensure_ascii=False) + "\\n").encode())
"""


@dataclass(frozen=True)
class Made:
    """What one process made.

    Attributes
    ----------
    versions : str
        Of Python and of what reckons.
    data : bytes
        plan.json.
    """

    versions: str
    data: bytes

    @property
    def sha(self) -> str:
        return hashlib.sha256(self.data).hexdigest()


def make(python: str | Path, site: Path, threads: int = 1, folder: Path | None = None,
         **changed: str) -> Made:
    """Make plan.json in a process of its own.

    Parameters
    ----------
    python : path
        An interpreter that has levelsill.
    threads : int
        For numba, OpenMP and BLAS, and cores that levelsill may use.
    folder : Path, optional
        To run in.
    changed : str
        Of the environment.
    """
    environment = {**os.environ, **changed, **{name: str(threads) for name in (
        "NUMBA_NUM_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")}}
    done = subprocess.run([python, "-W", "ignore", "-c", MAKES, site, str(threads)],
                          capture_output=True, cwd=folder, env=environment, check=False)
    if done.returncode:
        raise ChildProcessError(f"{python}: {done.stderr.decode(errors='replace')}")
    versions, data = done.stdout.split(b"\n", 1)
    return Made(versions.decode(), data)


def main(words: Sequence[str]) -> int:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("pythons", nargs="*", metavar="PYTHON")
    asked.add_argument("--threads", type=int, nargs="+", default=[1, 2])
    asked.add_argument("--site", type=Path, default=DEMO)
    given = asked.parse_args(words)
    seen = set()
    for python in [sys.executable, *given.pythons]:
        for threads in given.threads:
            made = make(python, given.site.absolute(), threads, Path("/"))
            seen.add(made.sha)
            print(f"{made.sha[:16]}  {len(made.data):,} bytes  {threads} threads  {made.versions}",
                  flush=True)
    print("All the same." if len(seen) == 1 else f"{len(seen)} different plans.")
    return 0 if len(seen) == 1 else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
