"""Random edits of a job with a cache, each build compared with a fresh one, to the last bit.

Run on demand: ``python -m tests.bench.sweep_edits --seeds 10 --edits 10``, from the repository. The
edits are those of ``tests/test_step_cache.py``; between them bridges are settled now and then, and
caches of several sizes are taken, so that results are dropped, too. Ends with an error on the first
build that differs.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
from pathlib import Path

from sheetstack.geometry.build import build
from sheetstack.geometry.errors import SheetstackError
from sheetstack.geometry.step_cache import StepCache

from ..test_step_cache import EDITS, made_job, said

#: Bytes of the caches, from far too small to ample.
SIZES = (200_000, 5_000_000, 400_000_000)
#: How often bridges are settled between two edits.
SETTLED = 0.4


def outcome(job, cache):
    """Return what is made of a job, or the sentence of its error."""
    try:
        return said(build(job, cache=cache))
    except SheetstackError as error:
        return str(error)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=10)
    parser.add_argument("--edits", type=int, default=10)
    args = parser.parse_args()
    count = 0
    for seed in range(args.seeds):
        draw = random.Random(seed)
        cache = StepCache(most_bytes=draw.choice(SIZES))
        with tempfile.TemporaryDirectory() as folder:
            job = made_job(Path(folder))
            for _ in range(args.edits):
                edit = draw.choice(sorted(EDITS))
                job = EDITS[edit](job, cache, draw)
                if draw.random() < SETTLED:
                    job = build(job, cache=cache).settled_for(job)
                if outcome(job, cache) != outcome(job, None):
                    sys.exit(f"seed {seed}: after an edit of {edit} the builds differ.")
                count += 1
        print(f"seed {seed}: {count} edits, all the same", flush=True)


if __name__ == "__main__":
    main()
