"""Within against between groups, against certified analyses of variance; and what a splitter must show."""

from pathlib import Path

import numpy as np
import pytest
import scipy.stats

from pulsewright import Channel, Session
from pulsewright_analysis.findings import measure
from pulsewright_analysis.groups import compare_groups

FOLDER = Path(scipy.stats.__file__).parent / "tests/data/nist_anova"


def groups_of(name: str) -> list[np.ndarray]:
    """Return the groups of one data file that ships inside SciPy."""
    rows = np.loadtxt(FOLDER / f"{name}.dat", skiprows=60)
    return [rows[rows[:, 0] == group, 1] for group in np.unique(rows[:, 0])]


@pytest.mark.parametrize(("name", "f"), [("SiRstv", 1.18046237440255), ("AtmWtAg", 15.9467335677930)])
def test_certified_f(name, f):
    """Source: NIST Statistical Reference Datasets, one-way analysis of variance."""
    found = compare_groups(groups_of(name))
    assert found is not None
    assert found.f == pytest.approx(f, rel=1e-6)
    assert found.probability == pytest.approx(scipy.stats.f_oneway(*groups_of(name)).pvalue, rel=1e-6)


@pytest.mark.parametrize("later", [0.0, 8e-9])
def test_a_splitter_shows_no_more_skew_between_modules_than_within_one(later):
    """Common practice, no source: one source, a splitter, equal cables. A module that is late must stand out."""
    rng = np.random.default_rng(44)
    time = np.arange(400) / 5e6
    skew = rng.normal(0, 1e-9, 12) + np.repeat([0.0, 0.0, later], 4)
    phase = rng.uniform(0, 6.28, (40, 1, 1))
    volts = np.cos(2 * np.pi * 210e3 * (time - skew[:, None]) + phase) + 0.005 * rng.standard_normal((40, 12, 400))
    channels = [Channel(f"H{c + 1:02d}", f"M{c // 4 + 1}", scale=1e-4) for c in range(12)]
    session = Session.from_samples(
        np.round(volts / 1e-4).astype(np.int16), channels, 5e6, 0, trigger_offset=np.zeros(40)
    )
    found = measure(session).alignment.modules_against_channels
    assert found is not None
    assert (found.between_dof, found.within_dof) == (2, 9)
    assert (found.probability < 0.001) == (later > 0)


def test_too_little_to_compare():
    assert compare_groups([np.array([1.0, 2.0])]) is None
    assert compare_groups([np.array([1.0]), np.array([2.0])]) is None
    assert compare_groups([np.array([1.0, 1.0]), np.array([2.0, 2.0])]) is None
