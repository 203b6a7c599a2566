"""Makes docs/now.png from our own demo, the page Now on a phone and on a desk, and the pictures of the guide for travellers.

Run from the top of the checkout, with the test extras installed and Chromium on the machine:

    .venv/bin/python docs/make_screenshot.py
"""
import base64
import json
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from contextlib import suppress
from pathlib import Path
from urllib.error import URLError
from urllib.request import urlopen

from playwright.sync_api import Browser, sync_playwright

TARGET = Path(__file__).with_name("now.png")
ARGUMENTS = ("--no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking "
             "--disable-component-update")
#: Pictures of the guide: name -> page of the demo.
GUIDE = {"guide-now": "/", "guide-tonight": "/tonight", "guide-health": "/health"}
#: The two pictures on one sheet.
SHEET = """<body style="margin:0;background:#cfd8c6;display:flex;gap:28px;padding:28px;width:max-content">
<img src="data:image/png;base64,{phone}" style="height:860px;border:1px solid #14211a">
<img src="data:image/png;base64,{desk}" style="height:860px;border:1px solid #14211a"></body>"""


def main() -> None:
    """Start a demo, photograph it, end it."""
    browser_path = shutil.which("chromium") or shutil.which("chromium-browser")
    if browser_path is None:
        sys.exit("no Chromium here; install it with: apt-get install chromium")
    with tempfile.TemporaryDirectory() as folder:
        demo = subprocess.Popen(
            [sys.executable, "-m", "monitor", "demo", "--folder", f"{folder}/demo", "--port", "0"],
            stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        try:
            base = _address(demo)
            _wait_for_figures(base)
            with sync_playwright() as play:
                browser = play.chromium.launch(executable_path=browser_path, args=ARGUMENTS.split())
                _photograph(browser, base)
                browser.close()
        finally:
            demo.send_signal(signal.SIGINT)
            demo.wait(60)
    print(f"{TARGET} made, {TARGET.stat().st_size // 1024} kB")


def _address(demo: subprocess.Popen) -> str:
    for line in demo.stdout:
        found = re.search(r"http://127\.0\.0\.1:\d+", line)
        if found:
            return found.group()
    raise SystemExit(f"the demo ended with {demo.wait()} before it served its pages")


def _wait_for_figures(base: str) -> None:
    """The pages need a moment to start."""
    for _ in range(120):
        with suppress(URLError), urlopen(f"{base}/api/v1/now") as answer:
            if not json.load(answer)["empty"]:
                return
        time.sleep(0.5)
    raise SystemExit("the pages show no figures")


def _photograph(browser: Browser, base: str) -> None:
    def shot(width: int, height: int, phone: bool) -> str:
        page = browser.new_page(viewport={"width": width, "height": height}, device_scale_factor=2 if phone else 1.5,
                                is_mobile=phone, has_touch=phone, color_scheme="light")
        page.goto(base)
        page.wait_for_selector("#tonight")
        page.evaluate("document.fonts.ready")
        return base64.b64encode(page.screenshot()).decode()

    for name, path in GUIDE.items():
        page = browser.new_page(viewport={"width": 390, "height": 760}, is_mobile=True, has_touch=True, color_scheme="light")
        page.goto(base + path)
        page.wait_for_function("!document.querySelector('[data-figure]:not([data-drawn])')")
        page.evaluate("document.fonts.ready")
        page.screenshot(path=str(TARGET.with_name(f"{name}.png")))
        page.close()
    sheet = browser.new_page(viewport={"width": 2200, "height": 940})
    sheet.set_content(SHEET.format(phone=shot(390, 844, True), desk=shot(1280, 844, False)))
    sheet.wait_for_function("[...document.images].every(i => i.complete)")
    sheet.locator("body").screenshot(path=str(TARGET))


if __name__ == "__main__":
    main()
