"""The colours: legible on their pages, and channels apart for eyes of every kind. No Qt is needed."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from pulsewright_app.theme import DARK, LANE_SHARE, LIGHT, VERDICT_SHAPES, Theme, components, legible, mixed, theme
from pulsewright_app.theme import contrast as theme_contrast

THEMES = [pytest.param(LIGHT, id="light"), pytest.param(DARK, id="dark")]

# Machado, Oliveira and Fernandes, "A Physiologically-based Model for Simulation of Color Vision Deficiency" (2009),
# severity 1.0; the figures are from memory
EYES = {
    "usual": np.eye(3),
    "protanopia": np.array(
        [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]]
    ),
    "deuteranopia": np.array(
        [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]]
    ),
    "tritanopia": np.array(
        [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]]
    ),
}


def linear(colour: str) -> np.ndarray:
    """Linear light of an sRGB colour (IEC 61966-2-1)."""
    value = np.array(components(colour)) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def contrast(one: str, other: str) -> float:
    """Contrast ratio (W3C, WCAG 2.1)."""
    light = sorted(float(linear(c) @ [0.2126, 0.7152, 0.0722]) for c in (one, other))
    return (light[1] + 0.05) / (light[0] + 0.05)


def lab(light: np.ndarray) -> np.ndarray:
    """CIELAB under D65 of linear sRGB light (CIE 15)."""
    to_xyz = np.array(
        [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]]
    )
    x = to_xyz @ light / np.array([0.95047, 1.0, 1.08883])
    f = np.where(x > 216 / 24389, np.cbrt(x), (24389 / 27 * x + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def delta_e(p: np.ndarray, q: np.ndarray) -> float:
    """CIEDE2000 (ISO/CIE 11664-6)."""
    (l1, a1, b1), (l2, a2, b2) = p, q
    c_mean = (np.hypot(a1, b1) + np.hypot(a2, b2)) / 2
    g = 1.5 - 0.5 * np.sqrt(c_mean**7 / (c_mean**7 + 25.0**7))
    c1, c2 = np.hypot(a1 * g, b1), np.hypot(a2 * g, b2)
    h1, h2 = (np.degrees(np.arctan2(b, a * g)) % 360 for a, b in ((a1, b1), (a2, b2)))
    turn = (h2 - h1 + 180) % 360 - 180
    hue = (h1 + turn / 2) % 360
    lightness, chroma = (l1 + l2) / 2, (c1 + c2) / 2
    t = (
        1
        - 0.17 * np.cos(np.radians(hue - 30))
        + 0.24 * np.cos(np.radians(2 * hue))
        + 0.32 * np.cos(np.radians(3 * hue + 6))
        - 0.20 * np.cos(np.radians(4 * hue - 63))
    )
    s_l = 1 + 0.015 * (lightness - 50) ** 2 / np.sqrt(20 + (lightness - 50) ** 2)
    s_c, s_h = 1 + 0.045 * chroma, 1 + 0.015 * chroma * t
    rotation = (
        -2 * np.sqrt(chroma**7 / (chroma**7 + 25.0**7)) * np.sin(np.radians(60 * np.exp(-(((hue - 275) / 25) ** 2))))
    )
    d_l, d_c = (l2 - l1) / s_l, (c2 - c1) / s_c
    d_h = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(turn / 2)) / s_h
    return float(np.sqrt(d_l**2 + d_c**2 + d_h**2 + rotation * d_c * d_h))


def test_the_colour_difference_is_the_published_one() -> None:
    """The first pair of Sharma, Wu and Dalal's test data (2005), from memory: 2.0425."""
    assert delta_e(np.array([50, 2.6772, -79.7751]), np.array([50, 0, -82.7485])) == pytest.approx(2.0425, abs=5e-5)


@pytest.mark.parametrize("eyes", EYES)
@pytest.mark.parametrize("look", THEMES)
def test_neighbouring_channels_are_apart_for_all_eyes(look: Theme, eyes: str) -> None:
    seen = [lab(np.clip(EYES[eyes] @ linear(look.channel(c)), 0, 1)) for c in range(13)]
    assert min(delta_e(a, b) for a, b in itertools.pairwise(seen)) >= 10


@pytest.mark.parametrize("look", THEMES)
def test_text_is_legible(look: Theme) -> None:
    """At least 4.5 : 1 for text (WCAG 2.1, 1.4.3)."""
    for page in (look.page, look.surface, look.raised, look.plot):
        for ink in (look.ink, look.muted, look.marker, look.missed, look.holds, look.fails, look.undecided):
            assert contrast(ink, page) >= 4.5, (ink, page)
    assert contrast(look.on_notice, look.notice) >= 4.5
    assert contrast(look.on_accent, look.accent) >= 4.5


@pytest.mark.parametrize("look", THEMES)
def test_text_on_a_chosen_row_is_legible(look: Theme) -> None:
    """Every ink of the tables' and lists' texts, on the row that is chosen (WCAG 2.1, 1.4.3)."""
    inks = (look.ink, look.muted, look.marker, look.missed, look.holds, look.fails, look.undecided,
            look.positive, look.negative)  # fmt: skip
    assert {(ink, contrast(ink, ground)) for ink in inks for ground in (look.selection, look.surface)
            if contrast(ink, ground) < 4.5} == set()  # fmt: skip


@pytest.mark.parametrize("look", THEMES)
def test_what_cannot_be_used_can_still_be_seen(look: Theme) -> None:
    """WCAG 2.1 asks nothing of what cannot be used; that it is held to 3 : 1 here is ours, without a source."""
    for ground in (look.page, look.surface, look.raised, look.plot):
        assert contrast(look.faint, ground) >= 3, ground


@pytest.mark.parametrize("look", THEMES)
def test_channels_names_are_legible_in_their_colours(look: Theme) -> None:
    """Letters of every channel's colour, beside the plot (WCAG 2.1, 1.4.3), still tell the channels apart."""
    letters = [legible(colour, look.page, look.ink) for colour in look.channels]
    assert min(contrast(colour, look.page) for colour in letters) >= 4.5
    assert len(set(letters)) == len(letters)
    for colour, letter in zip(look.channels, letters, strict=True):
        if contrast(colour, look.page) >= 4.5:
            assert letter == colour


@pytest.mark.parametrize("look", THEMES)
def test_what_is_chosen_and_what_holds_the_keyboard_stand_out(look: Theme) -> None:
    """The edge of a focused control against what it lies on, 3 : 1 (WCAG 2.1, 1.4.11)."""
    for ground in (look.page, look.surface, look.raised):
        assert contrast(look.accent, ground) >= 3


@pytest.mark.parametrize(("one", "other"), [("#000000", "#ffffff"), ("#777777", "#ffffff"), ("#b3261e", "#fdfcf9")])
def test_the_program_reckons_contrast_as_the_standard_does(one: str, other: str) -> None:
    """Against the formula as it is written above, from the standard; black on white is 21 : 1 in its own words."""
    assert theme_contrast(one, other) == pytest.approx(contrast(one, other), rel=1e-9)
    assert theme_contrast("#000000", "#ffffff") == pytest.approx(21)


@pytest.mark.parametrize("look", THEMES)
def test_the_palette_of_the_widgets_is_legible(look: Theme) -> None:
    """Pairs that Qt's widgets draw with: the roles by Qt's documentation of QPalette (WCAG 2.1, 1.4.3)."""
    pytest.importorskip("PySide6.QtGui", exc_type=ImportError, reason="Qt's system libraries are missing")
    from PySide6.QtGui import QPalette

    from pulsewright_app.desk.panels.panel import palette_of

    palette, role = palette_of(look), QPalette.ColorRole
    pairs = [
        (role.WindowText, role.Window), (role.Text, role.Base), (role.Text, role.AlternateBase),
        (role.PlaceholderText, role.Base), (role.ButtonText, role.Button), (role.HighlightedText, role.Highlight),
        (role.ToolTipText, role.ToolTipBase), (role.Link, role.Base), (role.LinkVisited, role.Base),
        (role.Text, role.Highlight),
    ]  # fmt: skip
    for group in (QPalette.ColorGroup.Active, QPalette.ColorGroup.Inactive):
        seen = {pair: contrast(*(palette.color(group, one).name() for one in pair)) for pair in pairs}
        assert {pair: ratio for pair, ratio in seen.items() if ratio < 4.5} == {}


@pytest.mark.parametrize("look", THEMES)
def test_traces_and_signs_stand_out_from_the_plot(look: Theme) -> None:
    """At least 3 : 1 for what is drawn (WCAG 2.1, 1.4.11): on the plot, before the trigger, and in the current lane."""
    everywhere = (*look.channels, look.positive, look.negative, look.trigger, look.clipped, look.flagged, look.faint)
    lane = [mixed(ground, look.selection, LANE_SHARE) for ground in (look.plot, look.before_trigger)]
    for ground in (look.plot, look.before_trigger, *lane):
        assert {colour for colour in everywhere if contrast(colour, ground) < 3} == set(), ground
    assert contrast(look.one_ink, look.plot) >= 3  # Afterglow has no lanes


def test_verdicts_differ_by_shape_too() -> None:
    assert len(set(VERDICT_SHAPES.values())) == 3
    assert {LIGHT.verdict(v) for v in VERDICT_SHAPES} == {LIGHT.holds, LIGHT.fails, LIGHT.undecided}


def test_mixing_goes_from_one_colour_to_the_other() -> None:
    assert mixed("#102030", "#ffffff", 0.0) == "#102030"
    assert mixed("#102030", "#ffffff", 1.0) == "#ffffff"
    assert mixed("#000000", "#ffffff", 0.5) in ("#7f7f7f", "#808080")


def test_a_theme_is_chosen_by_darkness() -> None:
    assert theme(False) is LIGHT
    assert theme(True) is DARK
