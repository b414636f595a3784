"""Pages that are files, as reports and mails are, in a real browser: as wide as telephones and as a desk, light
and dark.

    report.py FILE...

Held against WCAG 2.2, levels A and AA, as far as axe-core (MPL-2.0) can tell, and against scrolling sideways.
"""

import sys

from chromium import DESK, PHONE, Visitor, axe_script
from pages import BLANK, judged

script = axe_script()
wrong = []
with Visitor("") as visitor:
    visitor.root = "file://"
    for path in sys.argv[1:]:
        for width, height in (PHONE, DESK):
            for scheme in ("light", "dark"):
                visitor.size(width, height, is_phone=width < DESK[0])
                visitor.scheme(scheme)
                visitor.go(path)
                where = f"{path} ({width} px, {scheme})"
                wide, out = visitor.overflow()
                if wide > 0:
                    wrong.append(f"{where}: {wide} px wider than the window: {out}")
                if visitor.run(BLANK):
                    wrong.append(f"{where}: a picture shows nothing")
                wrong += judged(visitor, script, where)
assert not wrong, "\n" + "\n".join(wrong)
print("files looked at:", len(sys.argv) - 1)
