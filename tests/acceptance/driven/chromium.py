"""A visitor with a real browser: Chromium without a window, a new one each time, which reaches nothing
but this machine.

Never in here: what a page should show.
"""

import importlib.util
import json
import os
import tempfile
from pathlib import Path
from urllib.parse import urlsplit

from selenium import webdriver
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import WebDriverWait

# Far longer than anything takes on a busy machine: reached by what hangs.
DEADLINE_S = 180
# As narrow as telephones and as the smallest that WCAG 1.4.10 asks for; a desk.
PHONE, NARROWEST, DESK = (390, 844), (320, 640), (1200, 900)
OPTIONS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--disable-dev-shm-usage", "--disable-extensions", "--no-default-browser-check",
    # Whatever asks for another name gets no answer.
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
)


class Visitor:
    """One browser at one address; `with` ends it, and holds it against what no visit may do."""

    def __init__(self, address, language="en"):
        self.root = f"http://{address}"
        self.host = address
        self.folder = tempfile.TemporaryDirectory(prefix="visitor-")
        self.downloads = Path(self.folder.name) / "downloads"
        self.downloads.mkdir()
        options = Options()
        options.binary_location = "/usr/bin/chromium"
        for option in (*OPTIONS, f"--user-data-dir={self.folder.name}/profile", f"--accept-lang={language}"):
            options.add_argument(option)
        options.add_experimental_option("prefs", {
            "download.default_directory": str(self.downloads),
            "intl.accept_languages": language,
        })
        options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
        os.environ["SE_AVOID_STATS"] = "true"
        self.driver = webdriver.Chrome(options=options, service=Service("/usr/bin/chromedriver"))
        self.driver.set_page_load_timeout(DEADLINE_S)
        self.driver.set_script_timeout(DEADLINE_S)
        self.hosts, self.complaints, self.visited = set(), [], 0
        # Statuses that a test asks for; browsers complain of each of them.
        self.wanted_failures = set()

    def __enter__(self):
        return self

    def __exit__(self, kind, *_):
        try:
            if kind is None:
                self.settle()
        finally:
            self.driver.quit()
            self.folder.cleanup()

    def settle(self):
        """Nothing was asked of another host, and the browser has complained of nothing."""
        self.collect()
        assert self.hosts == {self.host}, f"asked {self.hosts}, wanted {self.host} alone"
        assert not self.complaints, "\n".join(self.complaints)

    def collect(self):
        """Logs are read piece by piece: a new page may drop what the browser has said before."""
        for line in self.driver.get_log("performance"):
            message = json.loads(line["message"])["message"]
            if message["method"] in ("Network.requestWillBeSent", "Network.webSocketCreated"):
                url = message["params"].get("request", message["params"])["url"]
                if urlsplit(url).scheme not in ("data", "blob", "chrome", "about"):
                    self.hosts.add(urlsplit(url).netloc)
        for line in self.driver.get_log("browser"):
            if not any(f"status of {status}" in line["message"] for status in self.wanted_failures):
                self.complaints.append(f"{line['level']}: {line['message']}")

    def command(self, name, **parameters):
        return self.driver.execute_cdp_cmd(name, parameters)

    def go(self, path):
        self.driver.get(self.root + path)
        self.collect()
        self.visited += 1

    def run(self, script, *arguments):
        return self.driver.execute_script(script, *arguments)

    def find(self, css):
        return self.driver.find_element(By.CSS_SELECTOR, css)

    def all(self, css):
        return self.driver.find_elements(By.CSS_SELECTOR, css)

    def text(self):
        return self.run("return document.body.innerText")

    def until(self, what, look):
        """What `look` sees, as soon as it sees something."""
        wait = WebDriverWait(self.driver, DEADLINE_S, poll_frequency=0.05)
        return wait.until(lambda _: look(), f"no {what}")

    def click(self, element):
        """On to the page that a link or button leads to: it is there when the old one is gone."""
        old = self.find("html")
        self.run("arguments[0].scrollIntoView({block: 'center'})", element)
        element.click()
        self.until("other page", lambda: self.is_gone(old))
        self.until("whole page", lambda: self.run("return document.readyState") == "complete")
        self.collect()

    def is_gone(self, element):
        try:
            return element != self.find("html")
        except Exception:  # noqa: BLE001 - between two pages there is neither
            return False

    def sign_in(self, password):
        self.go("/sign-in")
        self.find("input[name=password]").send_keys(password)
        self.click(self.find("button.main"))
        assert "/sign-in" not in self.driver.current_url, self.text()

    def size(self, width, height, is_phone=False):
        self.command("Emulation.setDeviceMetricsOverride", width=width, height=height,
                     deviceScaleFactor=1, mobile=is_phone)

    def scheme(self, name):
        """`light` or `dark`, as the system of a visitor says."""
        self.command("Emulation.setEmulatedMedia",
                     features=[{"name": "prefers-color-scheme", "value": name}])

    def scripts(self, are_on):
        self.command("Emulation.setScriptExecutionDisabled", value=not are_on)

    def download(self, link):
        """The text of what a link gives to take away."""
        before = set(self.downloads.iterdir())
        self.run("arguments[0].scrollIntoView({block: 'center'})", link)
        link.click()

        def arrived():
            new = set(self.downloads.iterdir()) - before
            done = [path for path in new if path.suffix == ".csv"]
            return done[0] if done and not [p for p in new if p.suffix == ".crdownload"] else None

        return self.until("file", arrived).read_text(encoding="utf-8")

    def overflow(self):
        """How much wider than the window the page is, and what sticks out."""
        return self.run("""
            const wide = document.documentElement.scrollWidth - document.documentElement.clientWidth;
            const out = [...document.querySelectorAll("body *")].filter((e) =>
                e.getBoundingClientRect().right > document.documentElement.clientWidth + 1
                && !e.closest(".scroll") && !e.closest(".hidden"));
            return [wide, out.slice(0, 5).map((e) => e.outerHTML.slice(0, 160))];""")


def axe_script():
    """axe-core, from the package that carries it."""
    folder = importlib.util.find_spec("axe_playwright_python").submodule_search_locations[0]
    return (Path(folder) / "axe.min.js").read_text(encoding="utf-8")
