"""One reader fuzzed in this process, guided by what its code covers.

Run by fuzz.py:  python tests/fuzz/one.py READER RUNS SEED FOLDER

FOLDER/told.json says how many inputs were read and refused, the longest that one took and the
highest memory; finds are kept in FOLDER/finds, by libFuzzer or here.
"""

from __future__ import annotations

import hashlib
import json
import logging
import os
import random
import resource
import sys
import time
import warnings
from collections import Counter
from pathlib import Path

import atheris

warnings.simplefilter("ignore")
logging.disable(logging.CRITICAL)
with atheris.instrument_imports(include=["terrain"]):
    import terrain.inputs.asbuilt_points
    import terrain.inputs.class_codes
    import terrain.inputs.district
    import terrain.inputs.elevation
    import terrain.inputs.ground_cover
    import terrain.inputs.ground_soil
    import terrain.inputs.hole_readings
    import terrain.inputs.keep_clear
    import terrain.inputs.layers
    import terrain.inputs.rain_frequency
    import terrain.inputs.rainfall
    import terrain.inputs.site
    import terrain.inputs.soil_units
    import terrain.inputs.weather  # noqa: F401

# Not the rooms with kernels, which numba compiles from the code as it is.
from mutate import mutate, mutate_bytes  # noqa: E402
from readers import outcome, readers  # noqa: E402

#: No file may take longer, nor more memory than this above what the libraries take. [s], [MB]
SECONDS, MEGABYTES = 20, 3000


def main() -> None:
    name, runs, seed, where = sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), Path(sys.argv[4])
    reader = readers()[name]
    finds, corpus, scratch = where / "finds", where / "corpus", where / "scratch"
    for folder in (finds, corpus, scratch):
        folder.mkdir(parents=True, exist_ok=True)
    for file, content in reader.beside.items():
        (scratch / file).write_bytes(content)
    for number, good in enumerate(reader.seeds):
        (corpus / f"seed{number}").write_bytes(good)
        (scratch / reader.file).write_bytes(good)
        assert outcome(reader, scratch / reader.file) == "read", f"seed {number} is not read"
    met: Counter[str] = Counter()
    slowest = [0.0]
    faults: Counter[str] = Counter()

    def try_one(data: bytes) -> None:
        path = scratch / reader.file
        path.write_bytes(data)
        began = time.perf_counter()
        try:
            met[outcome(reader, path).split(":")[0]] += 1
        except Exception as error:
            last = error.__traceback__
            while last is not None and last.tb_next is not None:
                last = last.tb_next
            assert last is not None
            place = (f"{type(error).__name__}: {str(error)[:120]} "
                     f"({last.tb_frame.f_code.co_filename}:{last.tb_lineno})")
            key = f"{type(error).__name__} {place.rsplit('(', 1)[-1]}"
            if not faults[key]:
                (finds / f"{hashlib.sha256(data).hexdigest()[:12]}.{reader.file.split('.')[-1]}"
                 ).write_bytes(data)
                print(f"FIND {place}", file=sys.stderr, flush=True)
            faults[key] += 1
        slowest[0] = max(slowest[0], time.perf_counter() - began)
        count = met["read"] + met["refused"] + sum(faults.values())
        if count % 50 == 0 or count >= runs:  # libFuzzer ends the process without a word
            tell()

    def tell() -> None:
        (where / "told.json").write_text(json.dumps({
            "reader": name, "read": met["read"], "refused": met["refused"],
            "faults": dict(faults), "slowest_s": round(slowest[0], 2),
            "memory_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024}))

    def mutator(data: bytes, most: int, number: int) -> bytes:
        rng = random.Random(number)
        if rng.random() < 0.5:  # near a good file: what covers most code is seldom read
            data = rng.choice(reader.seeds)
        if rng.random() < 0.75:
            return (mutate(data, reader.seeds, rng) if reader.text else
                    mutate_bytes(data, rng))[:most]
        return atheris.Mutate(data, most)

    largest = max(len(good) for good in reader.seeds)
    atheris.Setup([sys.argv[0], f"-runs={runs}", f"-seed={seed}", f"-timeout={SECONDS}",
                   f"-rss_limit_mb={MEGABYTES}", f"-malloc_limit_mb={MEGABYTES}",
                   f"-artifact_prefix={finds}{os.sep}", f"-max_len={4 * largest + 4096}",
                   "-print_final_stats=1", "-verbosity=0", str(corpus)], try_one,
                  custom_mutator=mutator)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
