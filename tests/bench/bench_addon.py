"""The portrait demo in Blender against the command line: the same work, the same machine.

Run on demand with a Python that has bpy: ``python tests/bench/bench_addon.py``. The command line's
time is that of its process, start and imports included; Blender's is from opening the job to the
last file written, with the sheets in the scene, since Blender is open when the artist begins.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

JOB = Path(__file__).resolve().parents[2] / "demo_scenes" / "portrait" / "portrait.toml"
RUNS = 3
IN_BLENDER = """
import sys, time
import bpy
from sheetstack import addon
bpy.ops.wm.read_factory_settings(use_empty=True)
addon.register()
start = time.perf_counter()
bpy.ops.sheetstack.open_job(filepath=sys.argv[1])
bpy.ops.sheetstack.build()
built = time.perf_counter()
bpy.ops.sheetstack.write_files(directory=sys.argv[2])
print("\\nTIMES", built - start, time.perf_counter() - start)
"""


def main() -> int:
    """Measure both and print medians and their ratio."""
    line, build, whole = [], [], []
    for _ in range(RUNS):
        with tempfile.TemporaryDirectory() as folder:
            start = time.perf_counter()
            command = [sys.executable, "-m", "sheetstack.geometry.cli", "build", str(JOB)]
            subprocess.run([*command, "--out", folder], check=False, capture_output=True)
            line.append(time.perf_counter() - start)
            command = [sys.executable, "-c", IN_BLENDER, str(JOB), folder]
            done = subprocess.run(command, check=True, capture_output=True, text=True)
            times = next(r for r in done.stdout.splitlines() if r.startswith("TIMES")).split()
            build.append(float(times[1]))
            whole.append(float(times[2]))
    a, b, c = (statistics.median(times) for times in (line, build, whole))
    print(f"command line, all files   {a:6.2f} s")
    print(f"Blender, sheets built     {b:6.2f} s")
    print(f"Blender, all files        {c:6.2f} s   {c / a:.2f} of the command line's")
    return 0


if __name__ == "__main__":
    sys.exit(main())
