"""How wide a text is printed, and where its lines break. Lengths in millimetres."""

from __future__ import annotations

BOLDER = 1.08
"""Bold is so much wider (from memory, the mean over a line of text)."""

THOUSANDTHS = {
    191: "'",
    222: "ijl",
    260: "|",
    278: " \N{NO-BREAK SPACE}!,./:;I[]\\ft",
    333: "()-`r",
    334: "{}",
    350: "\N{BULLET}",
    355: '"',
    389: "*",
    469: "^",
    500: "Jckszvxy",
    556: "#$0123456789?L_abdeghnopqu",
    584: "+<=>~",
    611: "FTZ",
    667: "&ABEKPSVXY",
    722: "CDHNRUw",
    778: "GOQ",
    833: "Mm",
    889: "%",
    944: "W",
    1015: "@",
}
"""Advance widths of the usual sans serif faces, by character (their published metrics, from memory)."""

WIDTHS = {letter: width / 1000 for width, letters in THOUSANDTHS.items() for letter in letters}
OTHER = 1.0
"""Any other character, as a share of the size: an arrow, the widest letters."""


def width(text: str, size: float, bold: bool = False) -> float:
    """Return how wide a text is. size: of the type.

    >>> round(width("ill", 10), 2)
    6.66
    """
    return sum(WIDTHS.get(letter, OTHER) for letter in text) * size * (BOLDER if bold else 1.0)


def wrap(text: str, size: float, room: float, bold: bool = False) -> list[str]:
    """Return the text in lines that fit the room, broken at spaces, a word only if it alone does not fit.

    >>> wrap("wet with petrol", 10, 50)
    ['wet with', 'petrol']
    """
    lines: list[str] = []
    line = ""
    for word in filter(None, text.split(" ")):
        longer = f"{line} {word}" if line else word
        if width(longer, size, bold) <= room:
            line = longer
            continue
        lines += [line] if line else []
        line = word
        while width(line, size, bold) > room and len(line) > 1:
            fits = max(n for n in range(1, len(line)) if n == 1 or width(line[:n], size, bold) <= room)
            lines.append(line[:fits])
            line = line[fits:]
    return [*lines, line] if line else lines
