#!/usr/bin/env python3
"""Transmitters in a recording by other means than the program's.

    signal_estimates.py CAPTURE.sigmf-meta

Pulses are where the smoothed power stands out of the noise; two that run into
each other are one of the wrong length and left out. Then, for each unit:

- the carrier is the peak of the zero-padded spectrum of each pulse, Hann window,
  interpolated by a parabola (numpy.fft);
- edges are where the envelope, averaged over all pulses of the unit and its noise
  thereby brought down, passes half of its plateau, straight lines between samples;
- the period is the slope of the starts over their number (numpy.polyfit), a start
  being where that average fits the single rising edge best (scipy.optimize);
- the field is the plateau's root mean square less that of the noise.

The noise density is that of the stretches between the pulses: Welch's method,
median over segments and over frequency (scipy.signal).

Uncertainties are those of means: the scatter from pulse to pulse over the root of
their number. The clock is corrected for as the format says: a clock that is fast
by e makes of nominal seconds t true ones t/(1 + e), of frequencies f true f (1 + e).

Prints JSON: noise density by channel, and the units with values as [value, u].
"""

import json
import sys
from pathlib import Path

import numpy as np
from scipy import signal
from scipy.ndimage import uniform_filter1d
from scipy.optimize import minimize_scalar

SMOOTH_S = 4e-3
# Two units closer than this in frequency are taken for one.
APART_HZ = 8.0
PAD = 32


def load(path):
    meta = json.loads(Path(path).read_text())
    world = meta["global"]
    kind = {"ci16_le": "<i2", "cf32_le": "<f4"}[world["core:datatype"]]
    flat = np.fromfile(Path(path).with_suffix(".sigmf-data"), kind).astype(float)
    channels = world["core:num_channels"]
    samples = (flat[0::2] + 1j * flat[1::2]).reshape(-1, channels)
    field = samples * np.array(world["coilrig:field_per_count"])
    assert len(meta["captures"]) == 1, "this script takes recordings without a gap"
    return (
        field,
        world["core:sample_rate"],
        meta["captures"][0]["core:frequency"],
        1 + 1e-6 * world.get("coilrig:clock_offset_ppm", 0.0),
    )


def stretches(mask):
    """First and last + 1 index of each run of True that is whole."""
    edges = np.flatnonzero(np.diff(mask.astype(np.int8)))
    if mask[0]:
        edges = edges[1:]
    pairs = edges[: len(edges) // 2 * 2].reshape(-1, 2) + 1
    return [tuple(pair) for pair in pairs]


def noise_density(field, busy, rate):
    """RMS density of each channel, A/m per root hertz of the complex samples."""
    segment = 512
    quiet = [field[a:b] for a, b in stretches(~busy) if b - a >= segment]
    spectra = []
    for part in quiet:
        for start in range(0, len(part) - segment + 1, segment):
            offsets, density = signal.periodogram(
                part[start : start + segment], rate, "hann", detrend=False,
                return_onesided=False, axis=0,
            )  # fmt: skip
            # Receivers filter towards the ends of the band.
            spectra.append(density[np.abs(offsets) < rate / 8])
    # Cells of white noise are exponential: median = mean ln 2.
    middle = np.median(np.array(spectra), axis=0) / np.log(2)
    return np.sqrt(np.median(middle, axis=0))


def mean(values):
    values = np.asarray(values)
    return [float(values.mean()), float(values.std(ddof=1) / np.sqrt(len(values)))]


def along(pulse):
    """The pulse as one complex stream along its own direction, and that."""
    _, _, rows = np.linalg.svd(pulse, full_matrices=False)
    return pulse @ rows[0].conj(), rows[0]


def peak_hz(stream, rate):
    """Frequency of the strongest tone."""
    size = PAD * 2 ** int(np.ceil(np.log2(len(stream))))
    spectrum = np.abs(np.fft.fft(stream * signal.windows.hann(len(stream)), size))
    top = int(spectrum.argmax())
    left, middle, right = (np.log(spectrum[(top + i) % size]) for i in (-1, 0, 1))
    shift = 0.5 * (left - right) / (left - 2 * middle + right)
    place = top + shift
    return (place - size if place > size / 2 else place) * rate / size


def crossings(envelope, level):
    """Places where the envelope passes the level, up first and down last."""
    above = envelope >= level
    up = int(np.argmax(above))
    down = len(above) - 1 - int(np.argmax(above[::-1]))
    first = up - (envelope[up] - level) / (envelope[up] - envelope[up - 1])
    last = down + (envelope[down] - level) / (envelope[down] - envelope[down + 1])
    return first, last


def unit(field, rate, tuned, clock, found, noise_power):
    """Estimates from the clean pulses `found`: (first, last, offset in Hz)."""
    margin = int(0.012 * rate)
    offset = np.mean([f for _, _, f in found])
    starts = np.array([a for a, _, _ in found], float)
    length = int(np.median([b - a for a, b, _ in found]))
    period = np.median(np.diff(starts))
    numbers = np.round((starts - starts[0]) / period)
    # Numbers of pulses with gaps between them: by their own best grid.
    slope, start = np.polyfit(numbers, starts, 1)
    numbers = np.round((starts - start) / slope)

    streams, kept, fields = [], [], []
    for number, (a, b, f) in zip(numbers, found):
        first, last = a - margin, b + margin
        if first < 0 or last > len(field):
            continue
        n = np.arange(first, last)
        wave = np.exp(-2j * np.pi * f / rate * n)[:, None]
        turned = field[first:last] * wave
        inner = slice(2 * margin, len(turned) - 2 * margin)
        vector = turned[inner].mean(axis=0)
        size = np.linalg.norm(vector)
        # Noise adds its power over the number of samples averaged.
        fields.append(np.sqrt(size**2 - noise_power / (inner.stop - inner.start)))
        stream = (turned @ vector.conj()).real / size**2
        streams.append((first, stream))
        kept.append(number)
    # Line the pulses up on their starts by the smoothed power, average, then move
    # each onto the average and do so again: the average does not smear.
    places = np.array([s[0] + margin for s in streams], float)
    half = np.arange(-margin, length + margin + 1.0)
    edge = np.arange(-margin, margin + 1.0)
    for _ in range(4):
        average = np.mean(
            [np.interp(half + p, first + np.arange(len(s)), s) for (first, s), p in zip(streams, places)],
            axis=0,
        )
        for i, (first, stream) in enumerate(streams):
            index = first + np.arange(len(stream))
            template = np.interp(edge, half, average)

            def misfit(move):
                return np.sum((np.interp(edge + places[i] + move, index, stream) - template) ** 2)

            bound = 0.002 * rate
            places[i] += minimize_scalar(misfit, bounds=(-bound, bound), method="bounded").x
    ends = []
    index = np.arange(len(half))
    up, down = crossings(average, 0.5)
    # The scatter of the length: the falling edge of each pulse against the average.
    fall = half[0] + down + np.arange(-margin // 2, margin // 2 + 1.0)
    template = np.interp(fall - half[0], index, average)
    for (first, stream), place in zip(streams, places):
        at = first + np.arange(len(stream))

        def misfit(move):
            return np.sum((np.interp(fall + place + move, at, stream) - template) ** 2)

        bound = 0.002 * rate
        ends.append(minimize_scalar(misfit, bounds=(-bound, bound), method="bounded").x)
    true_rate = rate * clock
    (slope, start), covariance = np.polyfit(kept, places, 1, cov=True)
    on = (down - up) / true_rate
    u_on = np.std(ends, ddof=1) / np.sqrt(len(ends)) / true_rate
    carriers = [(tuned + f) * clock for _, _, f in found]
    return {
        "pulses": len(kept),
        "carrier_hz": mean(carriers),
        "period_s": [slope / true_rate, float(covariance[0, 0]) ** 0.5 / true_rate],
        "on_time_s": [on, float(u_on)],
        "field_a_per_m": mean(fields),
        "first_pulse_s": float(start + half[0] + up) / true_rate,
    }


def main():
    field, rate, tuned, clock = load(sys.argv[1])
    power = uniform_filter1d(np.sum(np.abs(field) ** 2, axis=1), int(SMOOTH_S * rate))
    busy = power > 4 * np.median(power)
    # Holes and spikes shorter than the smoothing are chance.
    busy = signal.medfilt(busy.astype(float), 2 * int(SMOOTH_S * rate) + 1) > 0.5
    around = uniform_filter1d(busy.astype(float), int(0.03 * rate)) > 0
    noise = noise_density(field, around, rate)
    noise_power = float(np.sum(noise**2) * rate)

    found = []
    for a, b in stretches(busy):
        if b - a > 0.03 * rate:
            inner = field[a + int(SMOOTH_S * rate) : b - int(SMOOTH_S * rate)]
            found.append((a, b, peak_hz(along(inner)[0], rate)))
    found.sort(key=lambda pulse: pulse[2])
    groups = [[found[0]]]
    for pulse in found[1:]:
        if pulse[2] - groups[-1][-1][2] > APART_HZ:
            groups.append([])
        groups[-1].append(pulse)
    units = []
    for group in groups:
        length = np.median([b - a for a, b, _ in group])
        middle = np.median([f for _, _, f in group])
        clean = [
            p for p in group
            if abs(p[1] - p[0] - length) < 0.003 * rate and abs(p[2] - middle) < 3
        ]  # fmt: skip
        if len(clean) >= 10:
            units.append(unit(field, rate, tuned, clock, sorted(clean), noise_power))
    json.dump({"noise_a_per_m_rthz": list(noise), "units": units}, sys.stdout)


if __name__ == "__main__":
    main()
