"""A survey over distance by clicking: COILRIG FOLDER.

Runs an emulated receiver that is carried about by typed lines, begins a survey on the
terminal and another on the page, and walks through the latter with a reload and a pulled
cable on the way. Prints what was seen as one JSON document.
"""

import json
import shutil
import signal
import subprocess
import sys
from pathlib import Path

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect, sync_playwright

COILRIG, FOLDER = sys.argv[1], Path(sys.argv[2])
SCENE = """
[receiver]
serial = "EMU-0007"
position_m = [2, 0, 0]
field_per_count = 4e-9
[[unit]]
name = "seven"
position_m = [0, 0, 0]
moment_a_m2 = [6e-3, 0, 0]
first_pulse_s = 0.2
"""
SECONDS = 6
BROWSERS = ("chromium", "chromium-browser", "google-chrome")
# Machines that test are slower than those that watch.
expect.set_options(timeout=20_000)
seen = {}


class Emulated:
    """A receiver that is always found at the same place."""

    def __init__(self):
        (FOLDER / "scene.toml").write_text(SCENE)
        self.device = FOLDER / "receiver"
        self.calibration = FOLDER / "calibration.toml"
        self.start()

    def start(self):
        command = [COILRIG, "emulate", "scene.toml", "--link", str(self.device)]
        if not self.calibration.exists():
            command += ["--write-calibration", str(self.calibration)]
        self.process = subprocess.Popen(
            command, cwd=FOLDER, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL, text=True,
        )
        self.process.stdout.readline()

    def place(self, distance_m):
        self.process.stdin.write(f"place {distance_m} 0 0\n")
        self.process.stdin.flush()

    def pull(self):
        self.process.send_signal(signal.SIGTERM)
        self.process.wait()


def text(page, place):
    return page.inner_text(place).strip()


def point(page, number):
    expect(page.locator("#survey-step")).to_contain_text(f"Point {number} of 4")


def take(page, receiver, distance_m):
    receiver.place(distance_m)
    # What is on its way to the program is still from the old place.
    page.wait_for_timeout(500)
    page.click("button[data-step=record]")
    page.locator("button[data-step=keep]").wait_for(timeout=1000 * (SECONDS + 20))


def keep(page):
    page.click("button[data-step=keep]")


def begin_on_terminal(receiver):
    """A survey that is begun and left at once, since nobody answers."""
    subprocess.run(
        [COILRIG, "survey", "distance", "--out", "surveys/terminal", "--distances", "2,3,5,8",
         "--port", str(receiver.device), "--calibration", str(receiver.calibration)],
        cwd=FOLDER, stdin=subprocess.DEVNULL, check=True, capture_output=True,
    )


def walk(page, receiver, viewer):
    page.click("nav button[data-view=survey]")
    page.get_by_role("button", name="Go on with terminal").click()
    point(page, 1)
    page.click("#survey-leave")
    page.fill("#plan-name", "../out")
    page.get_by_role("button", name="Begin survey").click()
    seen["bad_name_began"] = page.is_visible("#survey-open")
    # What was refused stays beside the form while the status goes on, until the form changes.
    page.fill("#plan-name", "page")
    page.fill("#plan-distances", "2,two,8")
    page.get_by_role("button", name="Begin survey").click()
    expect(page.locator("#begin-refused")).to_contain_text("two")
    page.wait_for_timeout(2000)
    seen["refusal"] = text(page, "#begin-refused")
    page.fill("#plan-distances", "2,3")
    seen["refusal_after_change"] = page.inner_text("#begin-refused")
    page.fill("#plan-distances", "2,3,5,8")
    page.get_by_role("button", name="Begin survey").click()
    point(page, 1)
    page.fill("#point-seconds", str(SECONDS))
    take(page, receiver, 2)
    seen["first_judgement"] = text(page, "#survey-step")
    keep(page)
    point(page, 2)

    # A reload loses nothing.
    page.reload()
    page.click("nav button[data-view=survey]")
    point(page, 2)
    page.fill("#point-seconds", str(SECONDS))

    # A viewer sees where the survey is, and has nothing to press.
    viewer.click("nav button[data-view=survey]")
    point(viewer, 2)
    seen["viewer_buttons"] = viewer.locator("#view-survey button:visible").count()

    # The cable is pulled while the point is recorded, and put in again.
    receiver.place(3)
    page.wait_for_timeout(500)
    page.click("button[data-step=record]")
    page.wait_for_timeout(1500)
    receiver.pull()
    expect(page.locator("#link")).to_have_text("receiver lost", timeout=10_000)
    # What was measured before says how old it is.
    expect(page.locator("#level")).to_contain_text(" ago")
    receiver.start()
    receiver.place(3)
    expect(page.locator("#link")).to_have_text("receiver streams", timeout=20_000)
    expect(page.locator("#level")).not_to_contain_text(" ago")
    either = page.locator("button[data-step=keep], button[data-step=record]").first
    either.wait_for(timeout=1000 * (SECONDS + 20))
    if page.is_visible("button[data-step=keep]"):
        page.get_by_role("button", name="Take it again").first.click()
    point(page, 2)
    take(page, receiver, 3)
    keep(page)
    point(page, 3)
    page.get_by_role("button", name="Skip this point").click()
    point(page, 4)
    take(page, receiver, 8)
    seen["axe"] = [v["id"] for v in Axe().run(page).response["violations"]]
    keep(page)
    expect(page.locator("#survey-step")).to_contain_text("Every point is done or left")
    page.get_by_role("button", name="Take point 3 again").click()
    point(page, 3)
    take(page, receiver, 5)
    seen["last_judgement"] = text(page, "#survey-step")
    keep(page)
    expect(page.locator("#survey-results")).to_contain_text("moment")
    seen["results"] = text(page, "#survey-results")
    page.locator("#survey-picture").wait_for()
    page.wait_for_timeout(1000)
    seen["picture_width"] = page.evaluate("document.querySelector('#survey-picture').naturalWidth")
    page.screenshot(path=FOLDER / "survey-1280.png", full_page=True)
    page.set_viewport_size({"width": 390, "height": 844})
    page.wait_for_timeout(500)
    seen["too_wide"] = page.evaluate("document.documentElement.scrollWidth") > 390
    page.screenshot(path=FOLDER / "survey-390.png", full_page=True)
    # What was said of points stays with the survey.
    page.click("nav button[data-view=watch]")
    expect(page.locator("#said")).to_have_text("")


def main():
    receiver = Emulated()
    (FOLDER / "surveys").mkdir()
    begin_on_terminal(receiver)
    live = subprocess.Popen(
        [COILRIG, "live", "--port", str(receiver.device), "--calibration", str(receiver.calibration),
         "--out", "surveys", "--share", "--web-port", "0"],
        cwd=FOLDER, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
    )
    operator, look = live.stdout.readline().strip(), live.stdout.readline().strip()
    try:
        with sync_playwright() as playwright:
            chromium = next(filter(None, map(shutil.which, BROWSERS)), None) or sys.exit("chromium is not there: use ./tests/run")
            browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
            viewer = browser.new_context().new_page()
            viewer.goto(look)
            page = browser.new_context(viewport={"width": 1280, "height": 900}).new_page()
            errors = seen.setdefault("errors", [])
            page.on("pageerror", lambda error: errors.append(str(error)))
            page.goto(operator)
            walk(page, receiver, viewer)
            browser.close()
    finally:
        live.send_signal(signal.SIGTERM)
        seen["exit"] = live.wait()
        receiver.pull()
    print(json.dumps(seen))


main()
