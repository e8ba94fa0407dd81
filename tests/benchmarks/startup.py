"""How long the command takes to start, and a quick question on a small raster, warm.

Prints the time of `levelsill --help` beside that of `python -c pass`, asked by turns, the least of
all; no more than 12 times is asked for.  Then a quick question on the demo's raster, whose kernels
a first run has compiled: under 2 s is asked for.

Run: ``python tests/benchmarks/startup.py [TIMES]``.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

HOUSE = Path(__file__).resolve().parents[2]
COMMAND = Path(sys.executable).with_name("levelsill")
QUESTION = ["shed", str(HOUSE / "demo_dem" / "ground.tif"), "--at", "512399.5,6430314.5",
            "--storm", "38mm", "--cn", "82"]


def seconds(words: list[str]) -> tuple[float, float]:
    """Seconds on the clock, and of the processor where the system counts those of children."""
    before, begin = _processor(), time.perf_counter()
    subprocess.run(words, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    return time.perf_counter() - begin, _processor() - before


def _processor() -> float:
    try:
        import resource
    except ImportError:  # Windows
        return 0.0
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def least(runs: list[tuple[float, float]]) -> tuple[float, float]:
    """The least of each."""
    return min(clock for clock, _ in runs), min(processor for _, processor in runs)


def main(times: int) -> None:
    """Measure and print."""
    bare, helped = [], []
    for _ in range(times):
        bare.append(seconds([sys.executable, "-c", "pass"]))
        helped.append(seconds([str(COMMAND), "--help"]))
    seconds([str(COMMAND), *QUESTION])  # compiles what is not yet
    asked = [seconds([str(COMMAND), *QUESTION]) for _ in range(max(times // 4, 3))]
    print(f"least of {times}, seconds on the clock and of the processor")
    for name, runs in (("python -c pass", bare), ("levelsill --help", helped),
                       ("levelsill shed, warm", asked)):
        clock, processor = least(runs)
        print(f"{name:22} {clock:6.3f} {processor:6.3f}")
    clock, processor = (help_ / pass_ for help_, pass_ in zip(least(helped), least(bare),
                                                              strict=True))
    print(f"{'help, times pass':22} {clock:6.1f} {processor:6.1f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
