"""Every page in a real browser, as wide as telephones and as a desk, light and dark.

    pages.py ADDRESS PASSWORD [--pictures FOLDER] PATH...

Held against WCAG 2.2, levels A and AA, as far as axe-core (MPL-2.0) can tell, and against scrolling
sideways. The keyboard alone reaches everything that can be used, in the order of the page, and shows where
it is. With --pictures each page is kept as a picture too, to be looked at by people.
"""

import argparse
from pathlib import Path

from chromium import DESK, NARROWEST, PHONE, Visitor, axe_script
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.keys import Keys

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa"]
# What can be used and is shown, in the order of the page.
USABLE = """
    return [...document.querySelectorAll("a[href], button, input:not([type=hidden]), select, textarea, [tabindex='0']")]
        .filter((e) => !e.disabled && e.getClientRects().length && getComputedStyle(e).visibility !== "hidden");"""

# Pictures that are not there, or not yet: all are once the page is.
BLANK = """
    return [...document.images].filter((e) => !e.complete || !e.naturalWidth || !e.clientHeight).map((e) => e.currentSrc || e.src);"""


def judged(visitor, script, path):
    """What axe-core finds wrong with the page that is open."""
    visitor.run(script + "\nwindow.axe = axe;")
    found = visitor.driver.execute_async_script("""
        const [rules, done] = arguments;
        axe.run(document, { runOnly: { type: "tag", values: rules }, resultTypes: ["violations"] })
            .then(done, (error) => done({ error: String(error) }));""", RULES)
    assert "error" not in found, f"{path}: {found}"
    assert len(found["passes"]) > 5, f"{path}: hardly anything was judged"
    for wrong in found["violations"]:
        for node in wrong["nodes"]:
            yield f"{path}: {wrong['id']}: {node['html'][:200]}: {node['failureSummary']}"


def the_judge_sees(visitor, script):
    """What is plainly wrong is found: else finding nothing would say nothing."""
    visitor.go("/sign-in")
    visitor.run("""
        const picture = document.createElement("img");
        picture.src = "/assets/mark.svg";
        const faint = document.createElement("p");
        faint.textContent = "hardly to be read";
        faint.className = "soft";
        faint.style.setProperty("color", "rgb(200, 200, 190)");
        document.querySelector("main").append(picture, faint);""")
    rules = {wrong.split(": ")[1] for wrong in judged(visitor, script, "made wrong")}
    assert rules == {"image-alt", "color-contrast"}, rules


def looks(visitor, path, script, folder, sizes=(NARROWEST, PHONE, DESK), schemes=("light", "dark")):
    wrong = []
    for width, height in sizes:
        for scheme in schemes:
            visitor.size(width, height, is_phone=width < DESK[0])
            visitor.scheme(scheme)
            visitor.go(path)
            where = f"{path} ({width} px, {scheme})"
            wide, out = visitor.overflow()
            blank = visitor.run(BLANK)
            if blank:
                wrong.append(f"{where}: pictures that show nothing: {blank}")
            if wide > 0:
                wrong.append(f"{where}: {wide} px wider than the window: {out}")
            if width != NARROWEST[0]:
                wrong += judged(visitor, script, where)
            if folder:
                keep_picture(visitor, folder, path, f"{width}-{scheme}-{visitor.find('html').get_attribute('lang')}")
    return wrong


def keep_picture(visitor, folder, path, name):
    import base64

    height = visitor.run("return document.documentElement.scrollHeight")
    width = visitor.run("return document.documentElement.clientWidth")
    shot = visitor.command("Page.captureScreenshot", captureBeyondViewport=True,
                           clip={"x": 0, "y": 0, "width": width, "height": min(height, 4000), "scale": 1})
    plain = path.split("?")[0].strip("/").replace("/", "-") or "first"
    (folder / f"{plain}-{name}.png").write_bytes(base64.b64decode(shot["data"]))


def press(visitor, *keys):
    chain = ActionChains(visitor.driver)
    for key in keys:
        chain = chain.send_keys(key)
    chain.perform()


def by_keyboard(visitor, path):
    """From the top to the end with the tab key alone."""
    visitor.size(*DESK)
    visitor.scheme("light")
    visitor.go(path)
    # A field that takes the keyboard at once comes first; from the top means before it.
    visitor.run("document.activeElement.blur(); getSelection().removeAllRanges(); scrollTo(0, 0);")
    usable = visitor.run(USABLE)
    visitor.run("document.body.tabIndex = -1; document.body.focus(); document.body.removeAttribute('tabindex');")
    reached = []
    for wanted in usable:
        press(visitor, Keys.TAB)
        at = visitor.driver.switch_to.active_element
        # A date has several places in it.
        while reached and at == reached[-1] and at.get_attribute("type") in ("date", "datetime-local"):
            press(visitor, Keys.TAB)
            at = visitor.driver.switch_to.active_element
        assert at == wanted, (f"{path}: after {len(reached)} the keyboard is at "
                              f"{at.get_attribute('outerHTML')[:120]}, wanted {wanted.get_attribute('outerHTML')[:120]}")
        seen = visitor.run("""
            const e = arguments[0], box = e.getBoundingClientRect(), style = getComputedStyle(e);
            return { outline: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2,
                inside: box.bottom > 0 && box.top < innerHeight && box.right > 0 && box.left < innerWidth };""", at)
        assert seen["outline"], f"{path}: nothing shows that the keyboard is at {at.get_attribute('outerHTML')[:120]}"
        assert seen["inside"], f"{path}: the keyboard is out of sight at {at.get_attribute('outerHTML')[:120]}"
        reached.append(at)
    return len(reached)


def skip(visitor):
    """The first thing that the keyboard reaches leads past the menu."""
    visitor.go("/findings")
    press(visitor, Keys.TAB)
    first = visitor.driver.switch_to.active_element
    assert first.get_attribute("class") == "skip" and first.rect["x"] >= 0, first.get_attribute("outerHTML")
    press(visitor, Keys.ENTER)
    visitor.until("content in focus", lambda: visitor.run("return document.activeElement.id") == "content")
    press(visitor, Keys.TAB)
    assert visitor.run("return document.querySelector('main').contains(document.activeElement)")


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("address")
    parser.add_argument("password")
    parser.add_argument("--pictures", type=Path)
    parser.add_argument("paths", nargs="+")
    args = parser.parse_args()
    script = axe_script()
    with Visitor(args.address) as visitor:
        visitor.wanted_failures.add(404)
        the_judge_sees(visitor, script)
        wrong = looks(visitor, "/sign-in", script, args.pictures)
        by_keyboard(visitor, "/sign-in")
        visitor.sign_in(args.password)
        skip(visitor)
        for path in args.paths:
            wrong += looks(visitor, path, script, args.pictures)
            count = by_keyboard(visitor, path)
            print(f"{path}: {count} places by keyboard", flush=True)
        # Other words are longer.
        visitor.size(*DESK)
        visitor.go("/")
        visitor.click(visitor.find("button[name=language][value=de]"))
        assert visitor.find("html").get_attribute("lang") == "de", "the switch changes the language"
        for path in args.paths:
            wrong += looks(visitor, path, script, args.pictures, (NARROWEST, PHONE), ("light",))
        assert not wrong, "\n" + "\n".join(wrong)
        print("pages looked at:", 1 + len(args.paths))


if __name__ == "__main__":
    main()
