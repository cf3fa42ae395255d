"""``pulsewright simulate``: makes a session from a recipe, and writes its truth beside it."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from pulsewright.errors import RecipeError, SessionFileError
from pulsewright.quantity import engineering
from pulsewright_app.ending import ended_between_steps

if TYPE_CHECKING:
    from pulsewright.recipe import Recipe
    from pulsewright_analysis.simulation import Simulation


def truth_path_for(session_path: Path) -> Path:
    """Return where the truth of a simulated session lies: ``NAME.truth.json`` for ``NAME.h5``."""
    return session_path.with_suffix(".truth.json")


def run_simulate(recipe_file: Path, to: Path) -> int:
    """Make the session and its truth, print what is in it, and return the exit code.

    Raises
    ------
    PulsewrightError
        If the recipe has no meaning, or a file cannot be written.
    """
    from pulsewright.recipe_file import read_recipe
    from pulsewright.store import check_new_session
    from pulsewright_analysis.simulation import Simulation
    from pulsewright_app.printing import page, pairs, progress_on_stderr

    check_new_session(to)
    recipe = read_recipe(recipe_file)
    _check_room(recipe, to)
    try:
        simulation = Simulation(recipe)
    except RecipeError as error:
        raise RecipeError(f"{recipe_file.name}: {error.cause}", error.remedy) from error
    with progress_on_stderr("Simulating") as told_to, ended_between_steps(told_to) as progress:
        truth = write_simulation(simulation, to, progress)
    page().print(pairs([*_told(recipe, truth), ("Written to", f"{to}, its truth to {truth_path_for(to)}")]))
    return 0


def write_simulation(simulation: Simulation, to: Path, progress: Any = None) -> dict[str, Any]:
    """Write a simulated session and, beside it, its truth; return the truth.

    Raises
    ------
    SessionFileError
        If there is a file of either name, or one cannot be written.
    """
    from pulsewright.atomic import replacing
    from pulsewright.digest import sha256_of
    from pulsewright.store import refuse_existing, save_session
    from pulsewright_analysis.simulated_truth import truth_of

    beside = truth_path_for(to)
    refuse_existing(to)
    refuse_existing(beside)
    try:
        with replacing(beside) as temporary:
            save_session(to, simulation.session, progress=progress)
            truth = truth_of(simulation)
            truth["session"] = {"file": to.name, "sha256": sha256_of(to)} | truth["session"]
            temporary.write_text(json.dumps(truth, ensure_ascii=False, allow_nan=False) + "\n", encoding="utf-8")
    except OSError as error:
        raise SessionFileError(f"{beside.name}: cannot be written ({error.strerror or error})") from error
    return truth


def _check_room(recipe: Recipe, to: Path) -> None:
    """Refuse a session that its folder has no room for, before anything is computed."""
    size = recipe.records * len(recipe.channels) * recipe.record_length * np.dtype(recipe.sample_type).itemsize
    folder = to.absolute().parent
    try:
        free = shutil.disk_usage(folder).free
    except OSError as error:
        raise SessionFileError(f"{to.name}: {folder} cannot be written to ({error.strerror})") from error
    if size > free:
        need, has = engineering(size, "B", 3), engineering(free, "B", 3)
        raise RecipeError(f"{to.name}: the recipe makes {need}, and the folder has room for {has}", "ask for less")


def _told(recipe: Recipe, truth: dict[str, Any]) -> list[tuple[str, str]]:
    triggers = truth["triggers"]
    length = engineering(recipe.record_length / recipe.sample_rate, "s", 6)
    skews = [channel["skew_s"] for channel in truth["channels"]]
    clipped = sum(channel["clipped_samples"] for channel in truth["channels"])
    spread = engineering(max(skews) - min(skews), "s")
    return [
        ("Records", f"{recipe.records:,} of {recipe.record_length:,} samples, {length}"),
        ("Channels", f"{len(recipe.channels)} on {', '.join(module.name for module in recipe.modules)}"),
        ("Triggers sent", f"{triggers['sent']:,}; {len(triggers['missed']):,} missed by all modules"),
        (
            "Slips",
            "; ".join(f"{slip['module']} from record {slip['from_record']}" for slip in triggers["slips"]) or "none",
        ),
        ("Skews", f"up to {spread} apart"),
        ("Clipped samples", f"{clipped:,}"),
    ]
