"""Whatever is typed for a reading or a value of the sheet is read, or refused with a line that can be shown."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from diagnose.consultation.readings import read
from diagnose.figures import manual_figure, measured_figure
from diagnose.problems import DiagnoseError
from diagnose.ranges import parse_range

BITS = (
    *("0", "1", "9", "12", "0.35", ",6", "1/2", "½", "²", "9" * 30, "1e400", "nan", "inf", "٣"),
    *("psi", "bar", "mm", "in", "k", "K", "M", "R", "deg", "F", "C", "ft", "ml", "%", "turns", "kicks", "ohm", "rpm"),
    *("+", "-", "+/-", "to", "..", "–", "±", "~", "about", "or so", "min", "max", "at least", "or more", "between"),
    *("at", "@", "with", "sea level", " ", "\t", "'", '"', "|", "=", ":", "\x1b[31m", "\u202e", "\0"),
)
typed = st.one_of(
    st.lists(st.sampled_from(BITS), max_size=7).map("".join),
    st.lists(st.sampled_from(BITS), max_size=7).map(" ".join),
    st.text(max_size=30),
)


@pytest.mark.parametrize("read_as", [manual_figure, measured_figure])
def test_a_value_of_the_sheet(shipped, read_as):
    _refused_or_read(sorted(shipped.quantities.values(), key=lambda item: item.id), read_as)


def test_a_reading(shipped):
    tests = sorted((test for test in shipped.tests.values() if test.reading), key=lambda test: test.id)
    _refused_or_read(tests, read)


def _refused_or_read(among, read_as) -> None:
    @settings(max_examples=400, deadline=None, database=None)
    @given(st.sampled_from(among), typed)
    def tried(entry, text) -> None:
        said = ""
        try:
            read_as(entry, text)
        except DiagnoseError as error:
            said = str(error)
        assert said.isprintable()
        assert len(said) < 400

    tried()


@settings(max_examples=300, deadline=None)
@given(typed)
def test_a_range_that_is_read_does_not_fall(text):
    try:
        given_range = parse_range(text)
    except DiagnoseError:
        return
    if given_range.low is not None and given_range.high is not None:
        assert given_range.low <= given_range.high
