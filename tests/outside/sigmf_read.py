#!/usr/bin/env python3
"""A recording as the Python package sigmf reads it.

    sigmf_read.py CAPTURE.sigmf-meta SAMPLES

Validates the metadata against the package's schema (and with it the checksum,
should there be one), writes the samples read through the package to SAMPLES as
the integers they are, and prints what it found as JSON. Any defect that the
package finds ends the script with its message.
"""

import json
import sys
import warnings

import numpy as np
import sigmf

# What the package only warns of is a defect here.
warnings.simplefilter("error")


def main():
    capture, out = sys.argv[1:]
    recording = sigmf.fromfile(capture, autoscale=False)
    recording.validate()
    samples = recording.read_samples()
    counts = np.ascontiguousarray(samples).view(np.float32)
    counts.astype("<i2").tofile(out)
    segments = recording.get_captures()
    lengths = [len(recording.read_samples_in_capture(i)) for i in range(len(segments))]
    json.dump(
        {
            "samples": len(samples),
            "channels": recording.num_channels,
            "segment_lengths": lengths,
            "annotations": [
                [a["core:sample_start"], a["core:sample_count"]]
                for a in recording.get_annotations()
            ],
        },
        sys.stdout,
    )


if __name__ == "__main__":
    main()
