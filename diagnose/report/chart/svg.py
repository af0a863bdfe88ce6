"""The laid out chart as SVG, and as a page of HTML that prints on one sheet."""

from __future__ import annotations

from collections.abc import Iterator
from xml.sax.saxutils import escape

from diagnose.report.chart.layout import Layout, Placed
from diagnose.report.chart.wires import Wire

FACES = "Arial, Helvetica, 'Liberation Sans', 'Nimbus Sans', Arimo, 'DejaVu Sans Condensed', sans-serif"
"""All of about the same widths. Whatever face is there, `textLength` keeps its lines inside, as browsers print it."""

THIN, THICK = 0.25, 0.5
"""Lines around boxes and between them."""


def as_svg(drawn: Layout, title: str) -> str:
    """Return the sheet as a document of SVG, in millimetres, black on white. title: for who cannot see it."""
    sheet = drawn.sheet
    rows = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{sheet.width:g}mm" height="{sheet.height:g}mm" '
        f'viewBox="0 0 {sheet.width:g} {sheet.height:g}" font-family="{FACES}">',
        f"<title>{escape(title)}</title>",
        f'<rect width="{sheet.width:g}" height="{sheet.height:g}" fill="white"/>',
        *(row for wire in drawn.wires for row in _wire(wire, sheet.type)),
        *(row for one in drawn.placed for row in _block(one)),
        "</svg>",
    ]
    return "\n".join(rows) + "\n"


def as_html(drawn: Layout, title: str) -> str:
    """Return a page that holds the drawing and nothing from elsewhere; it prints on the sheet it was drawn for."""
    sheet = drawn.sheet
    return f"""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<title>{escape(title)}</title>
<style>
@page {{ size: {sheet.width:g}mm {sheet.height:g}mm; margin: 0 }}
html, body {{ margin: 0; background: white }}
svg {{ display: block; margin: 0 auto; max-width: 100%; height: auto }}
@media print {{ svg {{ width: {sheet.width:g}mm; height: {sheet.height - 0.5:g}mm; max-width: none }} }}
</style>
</head>
<body>
{as_svg(drawn, title)}</body>
</html>
"""


def _block(one: Placed) -> Iterator[str]:
    """Give the type of a block, in a frame if it is a step."""
    block = one.block
    if one.step:
        yield (
            f'<rect id="step-{one.step}" x="{one.x:.2f}" y="{one.y:.2f}" width="{block.width:.2f}" '
            f'height="{block.height:.2f}" rx="1" fill="white" stroke="black" stroke-width="{THICK}"/>'
        )
    for rule in block.rules:
        y = one.y + rule
        yield f'<path d="M{one.x:.2f} {y:.2f}H{one.x + block.width:.2f}" stroke="black" stroke-width="{THIN}"/>'
    for line in block.lines:
        weight = ' font-weight="bold"' if line.bold else ""
        yield (
            f'<text x="{one.x + line.x:.2f}" y="{one.y + line.y:.2f}" font-size="{line.size:.2f}"{weight} '
            f'textLength="{line.width:.2f}" lengthAdjust="spacingAndGlyphs">{escape(line.text)}</text>'
        )


def _wire(wire: Wire, size: float) -> Iterator[str]:
    """Give a line with its arrow, and the number it leads to where it leaves a box."""
    path = "L".join(f"{x:.2f} {y:.2f}" for x, y in wire.points)
    yield f'<path d="M{path}" fill="none" stroke="black" stroke-width="{THICK}" stroke-linejoin="round"/>'
    if wire.arrow:
        x, y = wire.points[-1]
        half, long = 0.3 * size, 0.7 * size
        yield f'<path d="M{x:.2f} {y:.2f}l{-half:.2f} {-long:.2f}h{2 * half:.2f}z" fill="black"/>'
    if wire.to:
        x, y = wire.points[0]
        yield (
            f'<text x="{x + 0.2 * size:.2f}" y="{y + 0.8 * size:.2f}" font-size="{0.75 * size:.2f}" '
            f'font-weight="bold">{wire.to}</text>'
        )
