"""A box that scrolls sideways on a narrow screen and says so, for tables and pictures that shrinking would spoil."""

from html import escape

HINT = "Wider than this screen: slide it sideways →"


def scrolled(inner: str, least_px: int, what: str) -> str:
    """Return HTML in a box that scrolls, by finger and by keyboard, with a hint above it where it has to.

    The styles stand in the elements, since a notebook page has no style sheet of ours. The hint's height is a sum of
    the box's own width (100cqw): nothing where the box is wide enough, one line where it is not.

    Parameters
    ----------
    inner : str
        HTML.
    least_px : int
        Width, in pixels of the page, that it has on every screen.
    what : str
        What a screen reader calls the box.
    """
    hint = f"height:clamp(0px,calc(({least_px}px - 100cqw) * 99),1.6em);overflow:hidden;margin:0;font-size:.85em"
    return (
        f'<div class="room" style="container-type:inline-size"><p class="hint" aria-hidden="true" style="{hint}">{HINT}'
        f'</p><div class="scroll" tabindex="0" role="group" aria-label="{escape(what)}" style="overflow-x:auto">'
        f'<div class="least" style="min-width:{least_px}px">{inner}</div></div></div>'
    )
