"""The live page with many viewers: PROGRAM SECONDS VIEWERS, all optional.

One real browser draws; the other viewers read the same stream and do nothing with it, since
so many browsers on the computer that measures would measure each other. The delay runs from
the end of a pulse, as it left the antenna by the receiver's clock, to the end of the frame
script that drew it. Processor and memory are those of the program alone, emulated receiver
included, over the same stretch.

Run with the Python of tests/.venv; needs Chromium.
"""

import http.client
import os
import shutil
import signal
import statistics
import subprocess
import sys
import threading
import time
from pathlib import Path
from urllib.parse import urlsplit

from playwright.sync_api import sync_playwright

ROOT = Path(__file__).resolve().parents[3]
PROGRAM = sys.argv[1] if len(sys.argv) > 1 else str(ROOT / "target/release/coilrig")
SECONDS = float(sys.argv[2]) if len(sys.argv) > 2 else 60.0
VIEWERS = int(sys.argv[3]) if len(sys.argv) > 3 else 20
WARM_UP_S = 15
BROWSERS = ("chromium", "chromium-browser", "google-chrome")


def cookie_of(link):
    parts = urlsplit(link)
    connection = http.client.HTTPConnection(parts.netloc)
    connection.request("GET", parts.path)
    return connection.getresponse().headers["set-cookie"].split(";")[0]


def listen(netloc, cookie, counts, number):
    connection = http.client.HTTPConnection(netloc)
    connection.request("GET", "/stream", headers={"Cookie": cookie})
    answer = connection.getresponse()
    try:
        while chunk := answer.read1(65536):
            counts[number] += len(chunk)
    except (ValueError, OSError, http.client.HTTPException):
        pass  # The program has ended, as it does last of all.


def processor_s(pid):
    """User and system time of all threads, s."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def resident_mb(pid):
    lines = Path(f"/proc/{pid}/status").read_text().splitlines()
    return next(int(line.split()[1]) for line in lines if line.startswith("VmRSS")) / 1024


def main():
    live = subprocess.Popen(
        [PROGRAM, "live", "--scenario", str(ROOT / "captures/demo.toml"), "--share", "--web-port", "0"],
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
    )
    try:
        operator, viewer = live.stdout.readline().strip(), live.stdout.readline().strip()
        counts = [0] * (VIEWERS - 1)
        netloc, cookie = urlsplit(viewer).netloc, cookie_of(viewer)
        for number in range(VIEWERS - 1):
            threading.Thread(target=listen, args=(netloc, cookie, counts, number), daemon=True).start()
        with sync_playwright() as playwright:
            chromium = next(filter(None, map(shutil.which, BROWSERS)), None) or sys.exit("chromium is not there")
            browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
            page = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
            page.goto(operator)
            time.sleep(WARM_UP_S)
            page.evaluate(
                "() => { window.delays = [];"
                " addEventListener('pulse-drawn', (event) => window.delays.push(event.detail)); }"
            )
            before, started, memory = processor_s(live.pid), time.monotonic(), resident_mb(live.pid)
            time.sleep(SECONDS)
            used = (processor_s(live.pid) - before) / (time.monotonic() - started)
            delays = sorted(page.evaluate("window.delays"))
            heap = page.evaluate("performance.memory.usedJSHeapSize") / 1e6
            browser.close()
        at = lambda share: delays[min(len(delays) - 1, int(share * len(delays)))]
        print(f"{len(delays)} pulses drawn in {SECONDS:.0f} s with {VIEWERS} viewers, one of them a browser")
        print(f"delay: median {statistics.median(delays):.0f} ms, 99th percentile {at(0.99):.0f} ms, most {delays[-1]:.0f} ms")
        print(f"program: {100 * used:.1f} % of a core, {memory:.0f} MB before, {resident_mb(live.pid):.0f} MB after")
        print(f"page: {heap:.1f} MB of script memory; each other viewer {statistics.mean(counts) / (SECONDS + WARM_UP_S) / 1e3:.1f} kB/s")
    finally:
        live.send_signal(signal.SIGTERM)
        live.wait()


main()
