"""Every page in every language: the same page, and no text left in another one.

    languages.py ADDRESS PATH...

A page is asked for twice, as browsers ask that read English and German. Both must have the same elements
in the same order, and every text in them must differ, but for what is marked as English (the analysis words
it), names of the site, numbers and the few words of SAME. Templates have no words of their own.
"""

import re
import sys
import urllib.error
import urllib.request
from html.parser import HTMLParser
from pathlib import Path

ADDRESS, *PATHS = sys.argv[1:]
TEMPLATES = Path(__file__).parents[2] / "daemon/templates/web"
# Names of this site, wherever they stand, and texts that are the same in both languages.
NAMES = ("Lagoon cold store", "EN 50549-1, defaults", "Africa/Accra", "mono-413", "hut", "mast", "roof")
SAME = {"JSON", "Phase 1", "Phase 2", "Phase 3"}
TEXT_ATTRIBUTES = ("alt", "aria-label", "title", "placeholder", "data-zoom", "data-plain", "data-measured",
                   "data-expected", "data-time", "data-power", "data-input", "data-voltage", "data-current",
                   "data-from", "data-to")
VOID = {"meta", "link", "img", "input", "br", "source", "path"}
ONLY_ELSEWHERE = {"original", "translated"}


class Pieces(HTMLParser):
    """Elements and texts in the order of the page, without what only a translation has."""

    def __init__(self):
        super().__init__()
        self.shape, self.texts, self.open, self.language = [], [], [], None

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        classes = set((attrs.get("class") or "").split())
        hidden = bool(self.open and self.open[-1][1]) or bool(classes & ONLY_ELSEWHERE)
        english = bool(self.open and self.open[-1][2]) or (tag != "html" and attrs.get("lang") == "en")
        # The switch offers the other language; the rest of the page is in this one.
        switch = bool(self.open and self.open[-1][3]) or attrs.get("action") == "/language"
        if tag == "html":
            self.language = attrs["lang"]
        if not hidden:
            self.shape.append((tag, attrs.get("class"), attrs.get("href", "").split("?")[0]))
            if not english:
                self.texts += [attrs[name] for name in TEXT_ATTRIBUTES if attrs.get(name)]
        if tag not in VOID:
            self.open.append((tag, hidden, english, switch))

    def handle_endtag(self, tag):
        while self.open and self.open.pop()[0] != tag:
            pass

    def handle_data(self, data):
        if not self.open:
            return
        _, hidden, english, switch = self.open[-1]
        if data.strip() and not hidden and not english and not switch:
            self.texts.append(" ".join(data.split()))


def page(path, language):
    request = urllib.request.Request(f"http://{ADDRESS}{path}", headers={"Accept-Language": language})
    try:
        with urllib.request.urlopen(request, timeout=60) as answer:
            text = answer.read().decode()
    except urllib.error.HTTPError as answer:
        text = answer.read().decode()
    pieces = Pieces()
    pieces.feed(text)
    return pieces


def both(path):
    """The plant goes on between two looks; where that has changed the page, again."""
    for _ in range(50):
        english, german, again = page(path, "en"), page(path, "de"), page(path, "en")
        if english.shape == again.shape:
            return english, german
    raise AssertionError(f"{path} never stays the same for three looks")


def is_text(text):
    """More than numbers, in whatever base, units and names with a number in them."""
    if text in SAME:
        return False
    for name in NAMES:
        text = text.replace(name, "")
    text = re.sub(r"\b0x[0-9a-f]+\b", "", text)
    return bool(re.search(r"[^\W\d_]{4,}", text))


def check(path):
    english, german = both(path)
    assert (english.language, german.language) == ("en", "de"), path
    for n, (one, other) in enumerate(zip(english.shape, german.shape)):
        assert one == other, f"{path}: element {n} is {one} in English and {other} in German"
    assert len(english.shape) == len(german.shape), path
    assert len(english.texts) == len(german.texts), f"{path}: {set(english.texts) ^ set(german.texts)}"
    left = [one for one, other in zip(english.texts, german.texts) if one == other and is_text(one)]
    assert not left, f"{path}: in both languages the same: {left}"
    return len(german.texts)


def templates_have_no_words():
    for file in TEMPLATES.glob("*.html"):
        text = re.sub(r"\{%.*?%\}|\{\{.*?\}\}", "", file.read_text(encoding="utf-8"), flags=re.S)
        for name, value in re.findall(r'\b(alt|aria-label|title|placeholder)="([^"]*)"', text):
            assert not re.search(r"[^\W\d_]", value), f"{file.name}: {name} says {value!r}"
        words = re.findall(r"[^\W\d_]+", re.sub(r"<[^>]*>", "", text))
        assert not words, f"{file.name} says {words}"


templates_have_no_words()
for wanted in PATHS:
    print(wanted, check(wanted), "texts")
print("pages in both languages:", len(PATHS))
