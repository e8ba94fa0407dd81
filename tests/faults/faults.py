"""Kills what writes, again and again, and looks from outside at what that left.

    python tests/faults/faults.py --kills 200 --seed 1

One process has all loaded and a plan made.  It splits off a child that writes, and kills it with
SIGKILL: half of the time at a moment by the clock, half of the time at one of the calls by which
it makes, opens, moves or takes away a file, so that short steps are met as well.
"""

from __future__ import annotations

import argparse
import importlib.util
import random
import sys
import tempfile
import time
import warnings
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path

from child import Child, Fault
from scenes import District, Folder, Plan, Save, Scene, WholePlan

HOUSE = Path(__file__).resolve().parents[2]
#: Of a hundred kills so many fall to each; those of `--whole` come on top.  In this order, as a
#: process is split off the sooner the less it has loaded, and richdem's threads outlive no fork.
SHARES = {"save": 68, "folder": 30, "district": 1, "plan": 1}
#: A run that goes on where a killed one was takes about so much of a whole one.
WHAT_IS_LEFT = 0.5


def kill(scene: Scene, kills: int, seed: int) -> Counter[str]:
    """Kill a scene so many times; at which steps it was.

    Raises
    ------
    Fault
        If something was lost or left in part, or the run after that failed; it says at which kill.
    """
    chance, steps = random.Random(seed), Counter[str]()
    scene.ready()
    run = Child(scene.act, scene.home)
    run.end()
    scene.ended()
    calls, took = run.calls, run.took
    while steps.total() < kills:
        scene.ready()
        at_call = chance.random() < 0.5
        span = WHAT_IS_LEFT if scene.goes_on else 1.0
        moment = chance.random() * span
        run = Child(scene.act, scene.home, 1 + int(moment * calls) if at_call else None)
        if not at_call:
            time.sleep(moment * took)
            run.kill()
        try:
            if run.end():
                steps[run.step] += 1
                scene.check()
                scene.after()
            else:  # it came to its end before that
                took = run.took if not scene.goes_on else took
                scene.ended()
        except Fault as fault:
            raise Fault(f"{scene.name}, kill {steps.total()} of seed {seed}, {run.step}, call "
                        f"{run.calls} of {calls}: {fault}") from None
    scene.ready()
    run = Child(scene.act, scene.home)
    run.end()
    scene.ended()
    return steps


def main(words: Sequence[str]) -> int:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--kills", type=int, default=200)
    asked.add_argument("--whole", type=int, default=0, metavar="KILLS",
                       help="more, of everything that a plan writes")
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args(words)
    warnings.simplefilter("ignore")
    wanted = {name: -(-given.kills * share // 100) for name, share in SHARES.items()}
    if given.whole:
        wanted["whole plan"] = given.whole
    small_site, found = _small_site(), {}
    with tempfile.TemporaryDirectory() as folder:
        for name, kills in wanted.items():
            home = small_site(_new(folder, name)).parent
            found[name] = kill(_scene(name, home), kills, given.seed)
            print(f"{name}: killed {kills} times: " + ", ".join(
                f"{step} {count}" for step, count in found[name].most_common()), flush=True)
    print(f"{sum(steps.total() for steps in found.values())} kills: nothing lost, nothing in part, "
          "and every run after them was right.")
    return 0


def _scene(name: str, home: Path) -> Scene:
    if name in ("plan", "whole plan"):
        from terrain.plan.plan import make_plan

        return (Plan if name == "plan" else WholePlan)(home, make_plan(home / "site.yaml"))
    return {"save": Save, "folder": Folder, "district": District}[name](home)


def _new(folder: str, name: str) -> Path:
    path = Path(folder) / name
    path.mkdir()
    return path


def _small_site() -> Callable[[Path], Path]:
    """Writes the small site of the tests into a folder."""
    sys.path.insert(0, str(HOUSE / "tests" / "published"))
    described = importlib.util.spec_from_file_location("small", HOUSE / "tests" / "conftest.py")
    assert described is not None
    assert described.loader is not None
    module = importlib.util.module_from_spec(described)
    sys.modules["small"] = module
    described.loader.exec_module(module)
    return module.make_small_site


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
