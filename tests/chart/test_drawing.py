"""The drawing: on the sheet, nothing over anything else, every caution told; and the same as text."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import combinations, pairwise
from xml.etree import ElementTree

import pytest

from diagnose.chart import Chart, ChartStep, Ending, Way, layers
from diagnose.chart.told import Grown, told
from diagnose.chart.unroll import unroll
from diagnose.report.chart.layout import layout
from diagnose.report.chart.measure import width, wrap
from diagnose.report.chart.order import Spot, crossings, in_order, ordered
from diagnose.report.chart.sheet import SHEETS
from diagnose.report.chart.svg import as_html, as_svg
from diagnose.report.chart.text import as_text
from diagnose.report.chart.words import HOW_TO_READ, LEGEND, NO_MANUAL, PROMISES, exits

SVG = "{http://www.w3.org/2000/svg}"
DAY, PROGRAM = "2026-03-04", "9.9.9"
INTERVIEW = Ending("interview", (("Petrol gone stale", 0.6), ("Plug dead inside", 0.3), ("Tank empty", 0.1)))


def drawn_step(number, ways, cautions=(), name="Look at it", rest=0.0):
    return ChartStep(
        number=number,
        kind="test",
        id=f"look_{number}",
        name=name,
        how="Have a lamp at hand.",
        before=(),
        minutes=3.0,
        wait=0.0,
        parts=0.0,
        cautions=cautions,
        reach=1.0,
        ways=tuple(ways),
        rest=rest,
    )


def drawn_chart(edges, cautions=(), names=None):
    """A chart from number -> the numbers it leads to, with one ending more at each step."""
    names = names or {}
    steps = []
    for number, to in edges.items():
        each = 1.0 / (len(to) + 1)
        ways = [Way(f"o{n}", f"Answer {n}", each, n) for n in to] + [Way("end", "Neither", each, INTERVIEW)]
        mine = tuple(caution.id for caution in cautions)
        steps.append(drawn_step(number, ways, mine, names.get(number, "Look at it")))
    return Chart(
        bike=(("Strokes", "Two-stroke"),),
        complaint="Turns over, not a cough",
        version="0123456789abcdef",
        start=1,
        steps=tuple(steps),
        cautions=tuple(cautions),
    )


LONG_EDGES = {1: (2, 3, 6), 2: (4, 5), 3: (4, 6), 4: (6,), 5: (7,), 6: (7,), 7: ()}
"""With edges over two and three rows."""


@pytest.fixture(scope="session", params=["a3", "a4"])
def sheet(request):
    return SHEETS[request.param]


@pytest.fixture(scope="session", params=["lately", "years", "drawn"])
def chart(request, sheet, small, new_job):
    """As much of the small book as goes on the sheet, or one with long edges."""
    if request.param == "drawn":
        return drawn_chart(LONG_EDGES)
    return in_order(unroll(new_job(small, request.param), lambda grown: layout(grown, sheet, DAY, PROGRAM).fits))


def pictured(chart, sheet):
    """The drawing read back: its boxes, its lines of type and its wires, in millimetres."""
    root = ElementTree.fromstring(as_svg(layout(chart, sheet, DAY, PROGRAM), "A chart"))
    boxes = {
        int(r.get("id").removeprefix("step-")): [float(r.get(k)) for k in ("x", "y", "width", "height")]
        for r in root.iter(f"{SVG}rect")
        if r.get("id")
    }
    lines = [
        (t.text, float(t.get("x")), float(t.get("y")), float(t.get("textLength") or 0), float(t.get("font-size")))
        for t in root.iter(f"{SVG}text")
    ]
    paths = [p.get("d") for p in root.iter(f"{SVG}path") if p.get("fill") == "none"]
    wires = [[tuple(map(float, point.split())) for point in path[1:].split("L")] for path in paths]
    return boxes, lines, wires


def test_the_drawing_holds_every_step_and_no_type_leaves_the_sheet(chart, sheet):
    boxes, lines, _ = pictured(chart, sheet)
    assert boxes.keys() == {step.number for step in chart.steps}
    assert layout(chart, sheet, DAY, PROGRAM).fits
    for text, x, y, length, size in lines:
        assert sheet.margin - 0.01 <= x <= x + length <= sheet.width - sheet.margin + 0.01, text
        assert sheet.margin <= y - 0.8 * size <= y + 0.25 * size <= sheet.height - 0.9 * sheet.margin, text


def test_no_two_boxes_overlap_and_type_stays_in_its_box(chart, sheet):
    boxes, lines, _ = pictured(chart, sheet)
    for (ax, ay, aw, ah), (bx, by, bw, bh) in combinations(boxes.values(), 2):
        assert ax + aw < bx or bx + bw < ax or ay + ah < by or by + bh < ay
    for text, x, y, length, size in lines:
        for left, top, wide, high in boxes.values():
            if left < x < left + wide and top < y < top + high:
                assert x + length <= left + wide, text
                assert top <= y - 0.75 * size <= y + 0.2 * size <= top + high, text


def test_no_wire_runs_through_a_box_or_over_another_wire(chart, sheet):
    boxes, _, wires = pictured(chart, sheet)
    pieces = [(n, a, b) for n, wire in enumerate(wires) for a, b in pairwise(wire)]
    for _, (ax, ay), (bx, by) in pieces:
        assert ax == bx or ay == by
        for left, top, wide, high in boxes.values():
            inside_x = (
                max(min(ax, bx), left + 0.1) < min(max(ax, bx), left + wide - 0.1) or left < ax == bx < left + wide
            )
            inside_y = max(min(ay, by), top + 0.1) < min(max(ay, by), top + high - 0.1) or top < ay == by < top + high
            assert not (inside_x and inside_y)
    for (n, a, b), (m, c, d) in combinations(pieces, 2):
        if n != m:
            assert not overlap(a, b, c, d), (a, b, c, d)


def overlap(a, b, c, d):
    """Whether two pieces share a stretch, not only a point."""
    for this, that in ((0, 1), (1, 0)):
        if a[this] == b[this] == c[this] == d[this]:
            return (
                min(max(a[that], b[that]), max(c[that], d[that])) - max(min(a[that], b[that]), min(c[that], d[that]))
                > 0.01
            )
    return False


def test_every_edge_is_drawn_from_box_to_box(chart, sheet):
    boxes, lines, _ = pictured(chart, sheet)
    edges = [(step.number, to) for step in chart.steps for to in step.next]
    tags = [text for text, _, _, length, _ in lines if not length]
    assert sorted(tags) == sorted(str(to) for _, to in edges)
    for number, to in edges:
        assert boxes[number][1] + boxes[number][3] < boxes[to][1]


def test_numbers_go_down_the_sheet_and_from_the_left(charts):
    chart = in_order(charts["years"])
    deep = layers(chart)
    boxes, _, _ = pictured(chart, SHEETS["a3"])
    assert sorted(boxes, key=lambda number: (deep[number], boxes[number][0])) == sorted(boxes)


def test_every_step_shows_its_cautions_and_the_foot_holds_their_texts(small, sheet):
    both = [small.cautions["petrol_open"], small.cautions["high_tension"]]
    chart = drawn_chart({1: (2,), 2: ()}, both)
    boxes, lines, _ = pictured(chart, sheet)
    for left, top, wide, high in boxes.values():
        mine = " ".join(text for text, x, y, _, _ in lines if left < x < left + wide and top < y < top + high)
        assert "Petrol in the open; High tension" in mine
    below = " ".join(text for text, _, y, _, _ in lines if y > max(b[1] + b[3] for b in boxes.values()))
    assert LEGEND in below
    for caution in both:
        assert f"{caution.name} {caution.say}" in below
    told = " ".join(as_text(chart, 50, DAY, PROGRAM).split())
    assert told.count("! Petrol in the open; High tension") == 2
    assert all(f"! {caution.name}: {caution.say}" in told for caution in both)


@pytest.mark.parametrize("parked", ["lately", "year", "years"])
def test_the_chart_names_what_the_book_says_of_each_step(charts, small, parked):
    """Cautions of the work and of what it opens, worked out here from the book alone."""
    chart = charts[parked]
    for step in chart.steps:
        work = small.repairs[step.id] if step.kind == "repair" else small.tests[step.id]
        opens = [a for a in small.access.values() if f"First: {a.name}" in step.before]
        wanted = set(work.cautions).union(*(a.cautions for a in opens))
        assert set(step.cautions) == wanted
        assert wanted <= {caution.id for caution in chart.cautions}


def test_where_there_is_only_a_button_the_head_says_what_a_kick_is(shipped):
    from diagnose.consultation import begin

    job = begin(shipped, {"bike": {"strokes": "4", "starter": "electric"}, "complaint": "not_a_cough"})
    kicked = Grown(job, replace(job.next_step, kind="test", id="spark_at_gap"), (), ())
    chart = told(job, (kicked,))
    assert len(chart.notes) == 1
    assert "five seconds at most" in chart.notes[0]
    for said in (as_text(chart, 50, DAY, PROGRAM), " ".join(text for text, *_ in pictured(chart, SHEETS["a3"])[1])):
        assert chart.notes[0] in " ".join(said.split())


def test_the_head_says_what_it_is_and_what_it_is_not(chart, sheet):
    _, lines, _ = pictured(chart, sheet)
    drawn = " ".join(text for text, *_ in lines)
    told = " ".join(as_text(chart, 50, DAY, PROGRAM).split())
    for said in (drawn, told):
        for words in (
            chart.complaint,
            "Two-stroke",
            DAY,
            PROGRAM,
            chart.version[:12],
            PROMISES,
            NO_MANUAL,
            *HOW_TO_READ,
        ):
            assert words in said


def test_too_many_steps_do_not_fit():
    deep = {n: (n + 1,) for n in range(1, 12)} | {12: ()}
    wide = {1: tuple(range(2, 10))} | dict.fromkeys(range(2, 10), ())
    for edges in (deep, wide):
        assert not layout(drawn_chart(edges), SHEETS["a4"], DAY, PROGRAM).fits


def test_what_the_book_writes_with_signs_is_drawn_as_it_is():
    chart = drawn_chart({1: ()}, names={1: 'Gap < 0.4 mm & "dry"'})
    _, lines, _ = pictured(chart, SHEETS["a3"])
    assert '1 Gap < 0.4 mm & "dry"' in " ".join(text for text, *_ in lines)


def test_a_chart_of_nothing_is_still_a_sheet():
    chart = replace(drawn_chart({}), start=Ending("runs"))
    boxes, lines, _ = pictured(chart, SHEETS["a4"])
    assert not boxes
    assert "it does what it should. Done." in " ".join(text for text, *_ in lines)
    assert "it does what it should. Done." in as_text(chart, 80, DAY, PROGRAM)


def test_the_page_holds_the_drawing_and_prints_on_its_sheet(chart, sheet):
    page = as_html(layout(chart, sheet, DAY, PROGRAM), "A chart")
    assert f"@page {{ size: {sheet.width:g}mm {sheet.height:g}mm" in page
    assert not re.search(r"(src|href)=|@import|url\(", page)
    inline = page[page.index("<svg") : page.index("</svg>") + 6]
    assert ElementTree.fromstring(inline).get("viewBox") == f"0 0 {sheet.width:g} {sheet.height:g}"


@pytest.mark.parametrize("columns", [50, 80])
def test_the_text_fits_and_names_every_number(chart, columns):
    told = as_text(chart, columns, DAY, PROGRAM)
    assert max(map(len, told.splitlines())) <= columns
    for step in chart.steps:
        assert re.search(rf"^ ?{step.number}\. {re.escape(step.name.split()[0])}", told, re.MULTILINE)
        assert told.count(f"-> {step.number}\n") == sum(
            1 for other in chart.steps for way in exits(other, 3) if way.to == step.number
        )


def test_outcomes_to_the_same_place_are_told_together():
    one = Ending("interview", (("Tank empty", 0.6), ("Plug dead inside", 0.4)))
    other = Ending("interview", (("Plug dead inside", 0.8), ("Tank empty", 0.5)))
    ways = [Way("a", "Wet", 0.3, 2), Way("b", "Damp", 0.2, 2), Way("c", "Dry", 0.1, one), Way("d", "Sooty", 0.3, other)]
    wet, dry, rest = exits(drawn_step(1, ways, rest=0.1), 2)
    assert (wet.says, wet.chance, wet.to) == ("Wet; Damp", pytest.approx(0.5), 2)
    assert (dry.says, dry.chance) == ("Dry; Sooty", pytest.approx(0.4))
    # by hand: plug (0.1 x 0.4 + 0.3 x 0.8) / 0.4 = 0.7, tank (0.1 x 0.6 + 0.3 x 0.5) / 0.4 = 0.525
    assert dict(dry.to.likeliest) == pytest.approx({"Plug dead inside": 0.7, "Tank empty": 0.525})
    assert dry.to.likeliest[0][0] == "Plug dead inside"
    assert (rest.says, rest.chance, rest.to) == ("Anything else", 0.1, Ending("interview"))


def test_crossings_are_counted_and_swept_away():
    a, b, c, d = Spot(0, 1), Spot(0, 2), Spot(1, 3), Spot(1, 4)
    joins = [(a, d), (b, c)]
    assert crossings(((a, b), (c, d)), joins) == 1
    assert crossings(((a, b), (d, c)), joins) == 0
    crossed = ordered(drawn_chart({1: (2, 3), 2: (5,), 3: (4,), 4: (), 5: ()}))
    assert crossings(crossed.rows, crossed.joins) == 0


def test_type_is_measured_and_broken_by_hand():
    assert width("Wa.", 10) == pytest.approx(9.44 + 5.56 + 2.78)
    assert wrap("a a a", 10, 14.0) == ["a a", "a"]  # 5.56 + 2.78 + 5.56 = 13.9
    assert wrap("aaaa", 10, 12.0) == ["aa", "aa"]
    assert (
        "".join(wrap("a long word: antidisestablishment", 10, 30)).replace(" ", "") == "alongword:antidisestablishment"
    )
