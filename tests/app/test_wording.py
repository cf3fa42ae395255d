"""The phrases that the desk, the command line and the sheet share say the same, and nothing rounder than it is."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest

from pulsewright.quantity import Quantity
from pulsewright_analysis.verdicts import Verdict
from pulsewright_app.evidence.numbers import facts_of
from pulsewright_app.printing import page
from pulsewright_app.theme import VERDICT_SHAPES
from pulsewright_app.verdicts_page import lines_of, print_verdicts
from pulsewright_app.wording import chance, degrees, summary, with_full_stop


@pytest.mark.parametrize(
    ("probability", "text"),
    [(0.99951, "99.95 %"), (0.5, "50.00 %"), (0.99995, "above 99.99 %"), (1.0, "above 99.99 %"), (0.0, "below 0.01 %")],
)
def test_a_probability_is_never_rounded_to_certainty(probability: float, text: str) -> None:
    assert chance(probability) == text
    facts = dict(facts_of(Quantity(1.0, 0.1, "s"), probability))
    assert getattr(facts["Probability that the claim is true"], "text", None) == text


def test_what_was_probable_stands_on_a_line_of_its_own() -> None:
    verdict = Verdict("Aligned", "skew", None, "at most 1 ns", "undecided", needed="more records")
    lines = lines_of(replace(verdict, probability=0.99951))
    assert lines[-2:] == ["What would decide it: more records.", "Probability that it is true: 99.95 %."]
    assert lines[:-1] == lines_of(verdict)


def test_the_page_shows_the_shapes_of_the_desk() -> None:
    stream = io.StringIO()
    verdicts = [Verdict(f"Claim {word}", "skew", None, "", word) for word in VERDICT_SHAPES]
    print_verdicts(verdicts, page(stream))  # type: ignore[arg-type]
    told = stream.getvalue().splitlines()
    assert told[0] == "Of 3 claims, 1 fails, 1 is undecided, 1 holds"
    assert [line.split()[:2] for line in told[1:]] == [[shape, word] for word, shape in VERDICT_SHAPES.items()]


def test_how_many_hold_is_one_sentence() -> None:
    assert summary(["holds"]) == "The claim holds"
    assert summary(["holds"] * 7) == "All 7 claims hold"
    assert summary(["fails", "holds", "fails", "undecided"]) == "Of 4 claims, 2 fail, 1 is undecided, 1 holds"
    assert summary(["undecided"]) == "Of 1 claim, 1 is undecided"


def test_a_sentence_ends_once() -> None:
    assert [with_full_stop(text) for text in ("", "So", "So.", " Why? ")] == ["", "So.", "So.", "Why?"]


def test_degrees_of_freedom_have_four_digits() -> None:
    assert [degrees(dof) for dof in (None, 22.0, 22.345, 12345.6)] == ["∞", "22", "22.34", "12,346"]
