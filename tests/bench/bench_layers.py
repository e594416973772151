"""How long a tracing takes and how much memory, against the same steps put together from peers.

Run on demand: ``python tests/bench/bench_layers.py [--megapixels 12] [--detail 0.5]``. The peer
reads the picture with Pillow at the same working size, and has scikit-image turn it to CIELAB,
denoise it by total variation for each layer, cut it by multi-level Otsu and trace the contours: no
cleaning, no fitting of curves, no files. Ratios are taken within one run on one machine.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from PIL import Image

PEER = """
import sys
import numpy as np
from PIL import Image
from skimage.color import rgb2lab
from skimage.filters import threshold_multiotsu
from skimage.measure import find_contours
from skimage.restoration import denoise_tv_chambolle

image = Image.open(sys.argv[1]).convert("RGB").resize((int(sys.argv[2]), int(sys.argv[3])))
light = rgb2lab(np.asarray(image))[..., 0]
for cut in threshold_multiotsu(light, 4):
    find_contours(denoise_tv_chambolle(light, weight=40), cut)
"""
OURS = "import sys; from sheetstack.geometry.cli.main import main; sys.exit(main(sys.argv[1:]))"


def big_picture(path: Path, megapixels: float) -> None:
    """Write a photograph enlarged to a size, with a camera's noise."""
    from skimage import data

    photograph = Image.fromarray(data.chelsea())
    factor = (megapixels * 1e6 / (photograph.width * photograph.height)) ** 0.5
    size = (round(photograph.width * factor), round(photograph.height * factor))
    pixels = np.asarray(photograph.resize(size, Image.Resampling.BICUBIC), np.float32)
    pixels = pixels + np.random.default_rng(0).normal(0, 6, pixels.shape).astype(np.float32)
    Image.fromarray(np.clip(pixels, 0, 255).astype(np.uint8)).save(path, quality=92)


def measured(words: list[str]) -> tuple[float, float, float]:
    """Return seconds of the clock, of the processors, and peak memory in MiB of a program."""
    start = time.perf_counter()
    process = subprocess.Popen(words, stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    seconds = time.perf_counter() - start
    if status:
        raise SystemExit(f"{words} failed")
    return seconds, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--megapixels", type=float, default=12)
    parser.add_argument("--detail", default="0.5")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "photograph.jpg"
        # In a process of its own: a child's peak memory begins at what its parent has.
        making = multiprocessing.get_context("spawn").Process(
            target=big_picture, args=(path, chosen.megapixels)
        )
        making.start()
        making.join()
        with Image.open(path) as image:
            full = image.size
        out = Path(folder) / "out"
        options = ["--out", str(out), "--detail", chosen.detail, "-q"]
        ours = measured([sys.executable, "-c", OURS, "layers", str(path), *options])

        from sheetstack.geometry.tracing.settings import TracingSettings
        from sheetstack.geometry.tracing.trace import extent_of

        size = extent_of(TracingSettings(detail=float(chosen.detail)), full).size
        small = measured([sys.executable, "-c", PEER, str(path), *map(str, size)])
    print(f"picture {full[0]} x {full[1]}, worked on at {size[0]} x {size[1]}")
    for name, (wall, busy, memory) in (("sheetstack layers", ours), ("peer", small)):
        print(f"{name:<18} {wall:6.2f} s  {busy:6.2f} s of processor  {memory:7.0f} MiB")
    print(
        f"ratio              {ours[0] / small[0]:6.2f}    {ours[1] / small[1]:6.2f}"
        f"                 {ours[2] / small[2]:7.2f}"
    )


if __name__ == "__main__":
    main()
