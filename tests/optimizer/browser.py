"""A headless browser for tests of pages: what it asked for, what it complained about, real mouse moves."""

from __future__ import annotations

import json
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
CHROMEDRIVER = shutil.which("chromedriver")
QUIET = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--no-first-run", "--hide-scrollbars",
)  # fmt: skip

needs_browser = pytest.mark.skipif(
    CHROMIUM is None or CHROMEDRIVER is None,
    reason="needs chromium and its driver (apt-get install chromium chromium-driver)",
)


@contextmanager
def browser(profile: Path, width: int = 1280, height: int = 1000) -> Iterator[Any]:
    """A browser with a profile of its own; its logs of network and console are kept."""
    webdriver = pytest.importorskip("selenium.webdriver")
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for argument in (*QUIET, f"--user-data-dir={profile}", "about:blank"):
        options.add_argument(argument)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(CHROMEDRIVER))
    try:
        size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600}
        driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        yield driver
    finally:
        driver.quit()


def open_page(driver: Any, path: Path, ready: str = "true") -> None:
    """Open a file and wait until a condition of its scripts holds."""
    driver.get_log("performance")  # of the page before
    driver.get(path.as_uri())
    wait_for(driver, ready)


def wait_for(driver: Any, condition: str) -> None:
    """Wait until a JavaScript expression is true."""
    end = time.monotonic() + 60.0
    while not driver.execute_script(f"return Boolean({condition})"):
        assert time.monotonic() < end, f"never came true: {condition}"
        time.sleep(0.05)


def requests_of(driver: Any) -> set[str]:
    """Addresses that were asked for since the page was opened, but those that hold their content."""
    found = set()
    for entry in driver.get_log("performance"):
        message = json.loads(entry["message"])["message"]
        if message["method"] == "Network.requestWillBeSent":
            address = message["params"]["request"]["url"]
            if not address.startswith(("data:", "blob:", "chrome:", "about:")):
                found.add(address)
    return found


def complaints_of(driver: Any) -> list[str]:
    """Errors and warnings on the console, violations of the page's policy among them."""
    return [one["message"] for one in driver.get_log("browser") if one["level"] in ("SEVERE", "WARNING")]
