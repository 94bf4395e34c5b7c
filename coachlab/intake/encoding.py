"""In which code a text file is written."""

import re

HEAD = 1 << 18
"""How many bytes are looked at."""

_EIGHT_BITS = ("cp1252", "mac_roman", "cp850")
_LONE = re.compile(rb"\r(?!\n|$)")


def encoding_of(head: bytes) -> str:
    """Return the encoding of a text by its first bytes; UTF-8 where nothing speaks against it."""
    if head.startswith((b"\xff\xfe\0\0", b"\0\0\xfe\xff")):
        return "utf-32"
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    zeros = head[:4096].count(b"\0")
    if zeros > len(head[:4096]) * 0.6:
        return "utf-32-be" if head[:1] == b"\0" else "utf-32-le"
    if zeros > len(head[:4096]) / 4:
        return "utf-16-le" if head[1:2] == b"\0" else "utf-16-be"
    lone = b"\r" in head and (b"\n" not in head or (b'"' not in head and _LONE.search(head)))
    if zeros or b"\0" in head or lone:
        return "utf-8-sig"  # line ends or signs that the block reader does not know: read as a whole
    return "utf-8"


def eight_bits(data: bytes) -> str:
    """Return which 8-bit code turns most bytes into degree signs after a number or in brackets; the usual one if none.

    Names and remarks cannot tell codes apart, but a unit can: the degree sign is another byte in each.
    """
    sign = re.compile(r"\d ?°|[\[(]°[\])]|°/")
    counts = {kind: len(sign.findall(data[:HEAD].decode(kind, "replace"))) for kind in _EIGHT_BITS}
    return max(counts, key=counts.__getitem__)


def decoded(data: bytes, encoding: str) -> str:
    """Return bytes as text by an encoding; where it does not fit, by the 8-bit code that fits best."""
    wide = encoding.startswith(("utf-16", "utf-32"))
    for kind in (encoding,) if wide else (encoding, eight_bits(data)):
        try:
            return data.decode(kind)
        except UnicodeDecodeError:
            continue
    return data.decode(encoding if wide else "latin-1", errors="replace")
