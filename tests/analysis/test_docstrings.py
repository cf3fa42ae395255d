"""Every public function and class of the two lower floors says what it takes, what it raises and what it holds."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PACKAGES = ("shared/pulsewright", "analysis/pulsewright_analysis")
MODULES = sorted(path for package in PACKAGES for path in (ROOT / package).rglob("*.py"))
DEFINITIONS = (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)


def public_definitions(node, prefix=""):
    """Yield name and node of what is public, not looking into functions and private classes."""
    for child in ast.iter_child_nodes(node):
        if not isinstance(child, DEFINITIONS):
            yield from public_definitions(child, prefix)
        elif not child.name.startswith("_"):
            yield prefix + child.name, child
            if isinstance(child, ast.ClassDef):
                yield from public_definitions(child, f"{prefix}{child.name}.")


def section(docstring, title):
    """Return the lines under a heading that is underlined, up to the next one; None where there is no such heading."""
    found = re.search(rf"^{title}\n-{{3,}}$(.*?)(?=^\w[\w ]*\n-{{3,}}$|\Z)", docstring, re.MULTILINE | re.DOTALL)
    return None if found is None else found[1].splitlines()


def raises(node):
    """Return whether a function raises by itself: not in a function within it, and not what it has just caught."""
    for child in ast.iter_child_nodes(node):
        if isinstance(child, ast.Raise) and child.exc is not None:
            return True
        if not isinstance(child, DEFINITIONS) and raises(child):
            return True
    return False


def complaints(node):
    """Return what the docstring of a function or class lacks."""
    docstring = ast.get_docstring(node)
    if docstring is None:
        return ["has no docstring"]
    if isinstance(node, ast.ClassDef):
        fields = [s for s in node.body if isinstance(s, ast.AnnAssign) and "ClassVar" not in ast.unparse(s.annotation)]
        public = [ast.unparse(field.target) for field in fields if not ast.unparse(field.target).startswith("_")]
        return ["has no Attributes"] if public and section(docstring, "Attributes") is None else []
    takes = node.args
    every = [*takes.posonlyargs, *takes.args, takes.vararg, *takes.kwonlyargs, takes.kwarg]
    entries = [re.match(r"[*\w]+(, [*\w]+)*( :|$)", line) for line in section(docstring, "Parameters") or []]
    named = {name for entry in entries if entry is not None for name in re.findall(r"\w+", entry[0])}
    missing = [a.arg for a in every if a is not None and a.arg not in {"self", "cls", *named}]
    found = [f"does not describe {', '.join(missing)}"] if missing else []
    return found + (["has no Raises"] if raises(node) and section(docstring, "Raises") is None else [])


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_docstrings_say_what_is_taken_raised_and_held(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    lacking = [f"{name} {why}" for name, node in public_definitions(tree) for why in complaints(node)]
    assert not lacking, "\n".join(lacking)


def test_both_packages_are_looked_at():
    assert {path.relative_to(ROOT).parts[1] for path in MODULES} == {"pulsewright", "pulsewright_analysis"}


HEAD = "def f(a, b, *c):\n    '''Do.\n\n    Parameters\n    ---\n    "


@pytest.mark.parametrize(
    ("source", "lacking"),
    [
        ("def f(): pass", ["has no docstring"]),
        (f"{HEAD}a, b : int\n    *c : int\n    '''", []),
        (f"{HEAD}a : int\n        b : no\n\n    Returns\n    ---\n    c : int\n    '''", ["does not describe b, c"]),
        ("def f():\n    '''Do.'''\n    if 1:\n        raise E(1)", ["has no Raises"]),
        ("def f():\n    '''Do.'''\n    def g(): raise E(1)\n    try: g()\n    except E: raise", []),
        ("class C:\n    '''Be.'''\n    a: int", ["has no Attributes"]),
        ("class C:\n    '''Be.'''\n    a: ClassVar[int]\n    _b: int", []),
    ],
)
def test_what_is_lacking_is_seen(source, lacking):
    assert complaints(ast.parse(source).body[0]) == lacking
