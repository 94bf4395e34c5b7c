"""The ball-flight page as one HTML file that needs no server, no network and no Python."""

import base64
import hashlib
import json
from pathlib import Path

from coachlab.settings import Settings
from coachlab.widgets.controls import page_numbers

_ASSETS = Path(__file__).parents[1] / "assets"
TITLE = "Why did it fly like that?"

_FRAME = """
body { margin: 0; }
main { max-width: 1240px; margin: 0 auto; padding: 0.9rem 1rem 2rem; box-sizing: border-box; }
h1 { font: 650 1.35rem/1.25 system-ui, sans-serif; margin: 0 0 0.5rem; letter-spacing: -0.01em; }
:root { color-scheme: light dark; }
@media (prefers-color-scheme: dark) { body { background: #17181a; color: #ececee; } }
"""

_BEGIN = """
const numbers = JSON.parse(document.getElementById("numbers").textContent);
createFlightPage(document.getElementById("page"), numbers, { system: SYSTEM });
"""


def flight_html(settings: Settings | None = None) -> str:
    """Return the ball-flight page as one HTML document with physics, numbers and style inside.

    Its content policy lets nothing run or load but the one script and the one style that stand in it, named by their
    hashes.

    Parameters
    ----------
    settings : Settings or None
        The academy's, for units.
    """
    script = (_ASSETS / "flight.js").read_text(encoding="utf-8")
    script += _BEGIN.replace("SYSTEM", json.dumps((settings or Settings()).units))
    style = (_ASSETS / "flight.css").read_text(encoding="utf-8") + _FRAME
    # "</" would end the element that holds the numbers
    numbers = json.dumps(page_numbers(), ensure_ascii=False, separators=(",", ":")).replace("</", "<\\/")
    policy = (
        f"default-src 'none'; script-src '{_hash(script)}'; style-src '{_hash(style)}'; base-uri 'none'; "
        "form-action 'none'"
    )
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="{policy}">
<title>{TITLE}</title>
<style>{style}</style>
</head>
<body>
<main>
<h1>{TITLE}</h1>
<div id="page"></div>
</main>
<script type="application/json" id="numbers">{numbers}</script>
<script type="module">{script}</script>
</body>
</html>
"""


def _hash(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
