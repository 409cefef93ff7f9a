"""The live page in Chromium: OPERATOR-LINK VIEWER-LINK FOLDER-FOR-PICTURES.

Does what an operator and a viewer would do and prints what they saw as one JSON document.
The browser is Debian's; axe-core comes with axe-playwright-python.
"""

import json
import re
import shutil
import sys
from pathlib import Path
from urllib.parse import urlsplit

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect, sync_playwright

OPERATOR, VIEWER, FOLDER = sys.argv[1], sys.argv[2], Path(sys.argv[3])
UNITS = "#units tr.unit"
# All units of the scene are there after four pulses each.
PATIENCE_MS = 60_000

BROWSERS = ("chromium", "chromium-browser", "google-chrome")
# Machines that test are slower than those that watch.
expect.set_options(timeout=20_000)
seen = {"errors": [], "other_hosts": [], "accessibility": [], "too_wide": [], "bytes": 0}


def watch(page, host):
    """Note errors, and requests that leave the program."""
    page.on("pageerror", lambda error: seen["errors"].append(str(error)))
    page.on("console", lambda said: said.type == "error" and seen["errors"].append(said.text))

    def ask(request):
        parts = urlsplit(request.url)
        if parts.scheme in ("http", "https", "ws") and parts.netloc != host:
            seen["other_hosts"].append(request.url)

    page.on("request", ask)


def check_access(page, view):
    for violation in Axe().run(page).response["violations"]:
        nodes = [node["html"][:120] for node in violation["nodes"][:3]]
        seen["accessibility"].append({"view": view, "rule": violation["id"], "nodes": nodes})


def check_widths(page, view):
    for width, height in ((360, 740), (390, 844), (1280, 900)):
        page.set_viewport_size({"width": width, "height": height})
        page.wait_for_timeout(600)
        if page.evaluate("document.documentElement.scrollWidth") > width:
            seen["too_wide"].append(f"{view} at {width}")
        page.screenshot(path=FOLDER / f"{view}-{width}.png", full_page=True)


def pulses(page):
    label = page.get_attribute("#timeline", "aria-label")
    return sum(int(count) for count in re.findall(r"[A-Z] (\d+)", label))


def text(page, place):
    return page.inner_text(place).strip()


def operate(browser):
    context = browser.new_context(color_scheme="light", viewport={"width": 1280, "height": 900})
    page = context.new_page()
    watch(page, urlsplit(OPERATOR).netloc)
    loaded = []
    page.on("response", lambda answer: "/stream" not in answer.url and loaded.append(answer))
    page.goto(OPERATOR)
    page.locator(UNITS).nth(2).wait_for(timeout=PATIENCE_MS)
    seen["bytes"] = sum(len(answer.body()) for answer in loaded if answer.status == 200)
    page.wait_for_timeout(3000)
    cells = page.locator(f"{UNITS} td[data-label=Carrier]").all_inner_texts()
    seen["carriers_hz"] = [float(cell.split("±")[0].replace("Carrier:", "")) for cell in cells]
    field = f"{UNITS} td[data-label='Field now'] >> nth=0"
    page.select_option("#field-unit", "nA/m")
    seen["field_nanoamperes"] = text(page, field)
    page.select_option("#field-unit", "dBµA/m")
    seen["field_decibels"] = text(page, field)
    page.select_option("#field-unit", "nA/m")
    check_access(page, "watch, light")
    check_widths(page, "watch")

    # A reload shows at once what was heard before.
    page.reload()
    expect(page.locator("#timeline")).to_have_attribute("aria-label", re.compile(r"[A-Z] \d"))
    seen["pulses_after_reload"] = pulses(page)

    page.fill("#record-unit", "hut 7")
    page.click("#record-button")
    expect(page.locator("#recording")).to_contain_text("on: ")
    seen["said_while_recording"] = text(page, "#said")
    seen["recording"] = re.match(r"on: ([^,]+),", text(page, "#recording"))[1]
    page.wait_for_timeout(2500)
    page.click("#record-button")
    expect(page.locator("#recording")).to_have_text("off")

    # By keyboard alone: to the class view, and along its sliders.
    page.focus("nav button[data-view=class]")
    page.keyboard.press("Enter")
    expect(page.locator("#lesson-text")).to_contain_text("strongest")
    seen["lesson_before"] = text(page, "#lesson-text")
    page.focus("#tilt")
    for _ in range(20):
        page.keyboard.press("ArrowRight")
    page.wait_for_timeout(1500)
    seen["lesson_after"] = text(page, "#lesson-text")
    check_access(page, "class, light")
    check_widths(page, "class")
    context.close()


def look(browser):
    """A viewer with a dark phone who likes things calm."""
    stranger = browser.new_context().new_page()
    seen["stranger_status"] = stranger.goto(f"http://{urlsplit(VIEWER).netloc}/").status
    stranger.context.close()
    context = browser.new_context(
        color_scheme="dark", reduced_motion="reduce", viewport={"width": 390, "height": 844}
    )
    page = context.new_page()
    watch(page, urlsplit(VIEWER).netloc)
    page.goto(VIEWER)
    page.locator(UNITS).nth(2).wait_for(timeout=PATIENCE_MS)
    seen["viewer_sees_units"] = page.locator(UNITS).count()
    seen["viewer_may_record"] = page.is_visible("#record")
    page.wait_for_timeout(2500)
    seen["calm_draws"] = pulses(page) > 0
    check_access(page, "watch, dark")
    page.screenshot(path=FOLDER / "viewer-390.png", full_page=True)
    page.click("nav button[data-view=class]")
    expect(page.locator("#lesson-text")).to_contain_text("strongest")
    check_access(page, "class, dark")
    page.screenshot(path=FOLDER / "viewer-class-390.png", full_page=True)
    context.close()


with sync_playwright() as playwright:
    chromium = next(filter(None, map(shutil.which, BROWSERS)), None) or sys.exit("chromium is not there: use ./tests/run")
    # Chromium's sandbox does not work for root, as which tests may run.
    browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
    operate(browser)
    look(browser)
    browser.close()
print(json.dumps(seen))
