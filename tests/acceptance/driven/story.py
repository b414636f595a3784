"""A technician's visit in a real browser: from the password to the answer to a finding.

    story.py ADDRESS PASSWORD INVERTER

Says `open the string` when the page of a healthy plant is open; whoever reads it makes the fault. It then
has to appear on that page, which is not loaded again.
"""

import csv
import io
import sys
from datetime import datetime

from chromium import DESK, Visitor
from selenium.webdriver.common.action_chains import ActionChains

ADDRESS, PASSWORD, INVERTER = sys.argv[1:]
TITLE = "A string carries nothing"


def sign_in(visitor):
    visitor.go("/")
    assert visitor.driver.current_url.startswith(f"{visitor.root}/sign-in"), visitor.driver.current_url
    visitor.find("input[name=password]").send_keys("not this one, surely")
    visitor.wanted_failures.add(403)
    visitor.click(visitor.find("button.main"))
    assert visitor.find("[role=alert]").text, "a wrong password is told"
    visitor.find("input[name=password]").send_keys(PASSWORD)
    visitor.click(visitor.find("button.main"))
    assert visitor.find("main[data-live]"), "the first page follows what happens"


def see_it_appear(visitor):
    """On the page as it is open; a mark in it would be gone if it were loaded again."""
    assert TITLE not in visitor.text(), "it is there before it was made"
    visitor.run("window.openedOnce = true")
    print("open the string", flush=True)
    visitor.until("finding without loading again", lambda: TITLE in visitor.text())
    assert visitor.run("return window.openedOnce") is True, "the page was loaded again"
    print("it appeared by itself", flush=True)


def answer_it(visitor):
    card = next(link for link in visitor.all(".card h3 a") if TITLE in link.text)
    visitor.click(card)
    for heading in ("What can hurt", "What to do", "What it may be", "What was measured"):
        assert heading in visitor.text(), f"no {heading}"
    visitor.find("input[name=who]").send_keys("Night shift")
    visitor.find("textarea[name=text]").send_keys("fuse <b>& clamp</b> are on their way")
    visitor.click(visitor.find("button[value=acknowledged]"))
    answers = visitor.find("#answers").text
    assert "Night shift" in answers and "fuse <b>& clamp</b> are on their way" in answers, answers
    visitor.go("/")
    assert "✓ seen" in visitor.text(), visitor.text()
    print("answered", flush=True)


def legend(visitor):
    """Names and values under the first chart."""
    rows = visitor.run("""
        return [...document.querySelector(".plot .uplot .u-legend").querySelectorAll(".u-series")]
            .map((row) => [row.querySelector(".u-label").textContent, row.querySelector(".u-value").textContent]);""")
    return dict(rows)


def read_at(visitor, over, share):
    """What the first chart says under the pointer, at a share of its width."""
    width, height = over.size["width"], over.size["height"]
    x = round((share - 0.5) * (width - 1))
    ActionChains(visitor.driver, duration=0).move_to_element_with_offset(over, x, height // 4).perform()
    return visitor.until("value", lambda: (lambda v: v if v["measured"] not in ("", "--") else None)(legend(visitor)))


def zoom(visitor):
    visitor.go(f"/inverters/{INVERTER}")
    day = visitor.driver.execute_async_script("""
        const done = arguments[arguments.length - 1];
        fetch(document.querySelector(".chart").dataset.chart).then((a) => a.json()).then(done);""")
    visitor.run("document.querySelector('.chart button').scrollIntoView({block: 'center'})")
    visitor.find(".chart button").click()
    visitor.until("chart", lambda: visitor.all(".plot .uplot .u-over"))
    over = visitor.all(".plot .uplot .u-over")[0]
    visitor.run("arguments[0].scrollIntoView({block: 'center'})", over)
    first, last = read_at(visitor, over, 0.02), read_at(visitor, over, 0.98)
    at = lambda values: datetime.strptime(values["time"], "%H:%M")
    whole = at(last) - at(first)
    width, height = over.size["width"], over.size["height"]
    chain = ActionChains(visitor.driver, duration=20)
    chain.move_to_element_with_offset(over, round(-0.2 * width), 0).click_and_hold()
    chain.move_by_offset(round(0.2 * width), height // 8).move_by_offset(round(0.2 * width), 0).release().perform()
    begins = lambda: at(read_at(visitor, over, 0.02))
    visitor.until("zoomed chart", lambda: begins() > at(first))
    part = at(read_at(visitor, over, 0.98)) - begins()
    assert part < 0.7 * whole, f"{part} of {whole}"
    # What is read off it is what was measured then.
    seen = read_at(visitor, over, 0.5)
    powers = {}
    for slot in day["slots"]:
        middle = datetime.fromisoformat(slot["start_utc"]).timestamp() + slot["span_s"] / 2
        powers[datetime.utcfromtimestamp(middle).strftime("%H:%M")] = slot["ac_power_w"]
    shown, wanted = float(seen["measured"]), powers[seen["time"]] / 1000
    # The legend has three decimals at most.
    assert abs(shown - wanted) <= 0.001, f"{seen}: {wanted} kW"
    visitor.find(".chart button").click()
    assert visitor.find(".chart picture").is_displayed(), "back to the plain chart"
    print("zoomed and read", seen, flush=True)


def gap(visitor):
    """No line leads across a time in which nothing was recorded."""
    visitor.go(f"/inverters/{INVERTER}")
    visitor.run("""
        const own = window.fetch;
        window.fetch = async (...asked) => {
            const answer = await own(...asked);
            if (!String(asked[0]).startsWith("/api/")) return answer;
            const day = await answer.json(), n = day.slots.length;
            day.slots.splice(Math.floor(n / 3), Math.ceil(n / 3));
            return new Response(JSON.stringify(day));
        };""")
    visitor.run("document.querySelector('.chart button').scrollIntoView({block: 'center'})")
    visitor.find(".chart button").click()
    visitor.until("chart", lambda: visitor.all(".plot .uplot .u-over"))
    over = visitor.all(".plot .uplot .u-over")[0]
    visitor.run("arguments[0].scrollIntoView({block: 'center'})", over)
    before, inside, after = (read_at(visitor, over, share)["measured"] for share in (0.1, 0.5, 0.9))
    assert inside == "–" and "–" not in (before, after), f"{before}, {inside}, {after}"
    print("nothing is drawn where nothing was recorded", flush=True)


def take_away(visitor):
    text = visitor.download(visitor.find("a[href$='day.csv']"))
    rows = list(csv.DictReader(io.StringIO(text)))
    assert len(rows) > 6, text
    for row in rows:
        assert None not in row and None not in row.values(), row
        datetime.fromisoformat(row["start_utc"])
    powers = [float(row["ac_power_w"]) for row in rows if row["ac_power_w"]]
    assert powers and max(powers) > 1000, powers
    print("took away", len(rows), "rows", flush=True)


def without_scripts(visitor):
    visitor.scripts(False)
    visitor.go(f"/inverters/{INVERTER}")
    picture = visitor.find(".chart img")
    visitor.until("picture", lambda: picture.get_property("naturalWidth") > 100)
    assert picture.get_property("currentSrc").split("?")[0].endswith("day.svg")
    assert not visitor.all(".chart button"), "a button that does nothing"
    visitor.go("/")
    assert visitor.find(".curve svg .measured").is_displayed()
    visitor.scripts(True)
    print("without scripts", flush=True)


with Visitor(ADDRESS) as one:
    one.size(*DESK)
    sign_in(one)
    see_it_appear(one)
    answer_it(one)
    zoom(one)
    gap(one)
    take_away(one)
    without_scripts(one)
print("the visit went as it should")
