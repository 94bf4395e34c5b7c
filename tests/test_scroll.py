"""The box that slides: what it says, and that it says so only where it has to."""

import re

from coachlab.scroll import HINT, scrolled


def test_it_slides_by_keyboard_and_tells_a_screen_reader_what_it_is():
    box = scrolled("<table></table>", 500, 'costs "now" & then')
    assert '<div class="scroll" tabindex="0" role="group" aria-label="costs &quot;now&quot; &amp; then"' in box
    assert "overflow-x:auto" in box
    assert box.index(HINT) < box.index("<table>")


def test_the_hint_has_no_height_from_the_least_width_on():
    least, factor = re.search(r"calc\(\((\d+)px - 100cqw\) \* (\d+)\)", scrolled("", 500, "x")).groups()
    shown = [max(0, (int(least) - width) * int(factor)) for width in (320, 499, 500, 1200)]
    assert shown[0] > shown[1] > 1.6 * 20  # at least its one line, at letters of 20 pixels
    assert shown[2:] == [0, 0]
