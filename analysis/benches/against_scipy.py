"""Whole `coilrig measure` against scipy.signal.spectrogram alone, same capture, same run.

    cargo build --release
    tests/.venv/bin/python analysis/benches/against_scipy.py [UNITS]

Makes ten minutes of three axes at 8 kS/s with UNITS transmitters (default 1) in a
temporary folder, times both three times in turn, prints the medians and their
ratio. The spectrogram has 512 points, half overlap, in double precision (what
`1j *` of integers gives) and in single precision.
"""

import json
import pathlib
import statistics
import subprocess
import sys
import tempfile
import time

import numpy as np
from scipy.signal import spectrogram

RATE, SECONDS, PER_COUNT, NOISE = 8000, 600, 1e-10, 1e-9


def samples(units):
    rng = np.random.default_rng(7)
    n = RATE * SECONDS
    data = rng.normal(size=(n, 3, 2)).astype(np.float32)
    data *= np.float32(NOISE / PER_COUNT * np.sqrt(RATE / 2))
    time_s = np.arange(n) / RATE
    for _ in range(units):
        period, on = rng.uniform(0.8, 1.2), rng.uniform(0.07, 0.12)
        offset_hz, first = rng.uniform(-80, 80), rng.uniform(0, 1)
        vector = rng.normal(size=3)
        vector *= 10 ** rng.uniform(-6.5, -5.5) / np.linalg.norm(vector) / PER_COUNT
        for start in np.arange(first, SECONDS - on, period):
            a, b = max(int(start * RATE) - 8, 0), int((start + on) * RATE) + 8
            t = time_s[a:b]
            envelope = np.clip((t - start) / 1e-3 + 0.5, 0, 1)
            envelope -= np.clip((t - start - on) / 1e-3 + 0.5, 0, 1)
            z = envelope * np.exp(2j * np.pi * (offset_hz * t + rng.uniform()))
            data[a:b, :, 0] += (z.real[:, None] * vector).astype(np.float32)
            data[a:b, :, 1] += (z.imag[:, None] * vector).astype(np.float32)
    return np.rint(data).clip(-32767, 32767).astype("<i2")


def seconds(work):
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def main():
    units = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    root = pathlib.Path(__file__).resolve().parents[2]
    data = samples(units)
    meta = {
        "global": {
            "core:datatype": "ci16_le",
            "core:num_channels": 3,
            "core:sample_rate": RATE,
            "core:version": "1.2.0",
            "core:extensions": [{"name": "coilrig", "version": "1.0.0", "optional": True}],
            "coilrig:field_per_count": [PER_COUNT] * 3,
        },
        "captures": [{"core:sample_start": 0, "core:frequency": 457000}],
        "annotations": [],
    }
    with tempfile.TemporaryDirectory() as folder:
        name = pathlib.Path(folder) / "ten-minutes"
        data.tofile(name.with_suffix(".sigmf-data"))
        name.with_suffix(".sigmf-meta").write_text(json.dumps(meta))
        command = [root / "target/release/coilrig", "measure", "--json", name]
        runs = {"measure": [], "complex128": [], "complex64": []}
        for _ in range(3):
            work = lambda: subprocess.run(command, check=True, capture_output=True)
            runs["measure"].append(seconds(work))
            for kind in ("complex128", "complex64"):
                z = (data[..., 0] + 1j * data[..., 1]).astype(kind)
                axes = [np.ascontiguousarray(z[:, a]) for a in range(3)]
                work = lambda: [
                    spectrogram(axis, RATE, nperseg=512, noverlap=256, return_onesided=False)
                    for axis in axes
                ]
                runs[kind].append(seconds(work))
    medians = {kind: statistics.median(all_runs) for kind, all_runs in runs.items()}
    print(f"{units} units, {SECONDS} s: measure {medians['measure']:.2f} s")
    for kind in ("complex128", "complex64"):
        ratio = medians[kind] / medians["measure"]
        print(f"spectrogram in {kind}: {medians[kind]:.2f} s, {ratio:.1f} times as long")


if __name__ == "__main__":
    main()
