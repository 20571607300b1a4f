"""The promises of the tree itself: what may import what, how large a module may be, what must be documented."""

from __future__ import annotations

import ast
import json
import re
import subprocess
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
HUB = ROOT / "hub" / "fiftyover"
KIT = ROOT / "firmware" / "fiftyover_kit"

TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "firmware", "hub", "dashboards", "hardware", "tests"}

# Each room may import only rooms of a lower rank; rooms of one rank do not know each other.
RANK = {
    "fiftyover": 0,
    "fiftyover.errors": 0,
    "fiftyover.clock": 1,
    "fiftyover_kit.contract": 2,
    "fiftyover_kit": 3,
    "fiftyover.process": 3,
    "fiftyover.control": 4,
    "fiftyover.batch": 5,
    "fiftyover.store": 6,
    "fiftyover.settings": 7,
    "fiftyover.broker": 8,
    "fiftyover.ingest": 9,
    "fiftyover.heater": 9,
    "fiftyover.alerts": 9,
    "fiftyover.announce": 9,
    "fiftyover.influx": 9,
    "fiftyover.reports": 9,
    "fiftyover.web": 9,
    "fiftyover.bench": 9,
    "fiftyover.rehearse": 10,
    "fiftyover.app": 11,
    "fiftyover.cli": 12,
    "fiftyover.__main__": 13,
}
PURE = ("process", "control", "batch")
IMPURE_MODULES = {
    "os", "io", "sys", "time", "socket", "sqlite3", "subprocess", "threading", "asyncio", "pathlib", "random",
    "datetime", "logging", "paho", "starlette", "uvicorn", "tempfile", "shutil", "urllib", "http",
}  # fmt: skip
BANNED_NAMES = {"utils", "util", "helpers", "helper", "manager", "common", "core", "misc"}
UNIT_OR_NONE = re.compile(
    r"degC|degF|kelvin|\bK\b|K/s|°|\[|seconds?\b|\bs\b|_s\b|\bms\b|minutes?|hours?|\bh\b|fraction|0\s*\.\.\s*1|grams?\b|\bg\b|kg|"
    r"ppm|ohms?|\bmm?\b|metres?|watts?|W/|J/|counts?|bytes|text|topic|ratio|dimensionless|log10|dict|words?\b|lb\b|oz\b|"
    r"no unit|[Dd]uty|whole number|integer|true|false|None|tuple",
)


def modules(folder: Path) -> Iterator[Path]:
    for path in sorted(folder.rglob("*.py")):
        if "__pycache__" not in path.parts:
            yield path


ALL_SOURCE = [*modules(HUB), *modules(KIT), ROOT / "firmware" / "main.py"]


def dotted(path: Path) -> str:
    base = HUB.parent if path.is_relative_to(HUB) else KIT.parent
    parts = list(path.relative_to(base).with_suffix("").parts)
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def room(module: str) -> str:
    """The longest ranked prefix of a module's dotted name."""
    parts = module.split(".")
    for size in range(len(parts), 0, -1):
        name = ".".join(parts[:size])
        if name in RANK:
            return name
    return ""


def imported(tree: ast.AST, own: str, is_package: bool) -> Iterator[str]:
    package = own if is_package else own.rpartition(".")[0]
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                stem = package.split(".")[: len(package.split(".")) - node.level + 1]
                base = ".".join([*stem, base] if base else stem)
            for alias in node.names:
                yield f"{base}.{alias.name}"


def import_breaches(path: Path, own: str, source: str) -> list[str]:
    found = []
    for name in imported(ast.parse(source), own, path.name == "__init__.py"):
        if not name.startswith(("fiftyover.", "fiftyover_kit.")) and name not in ("fiftyover", "fiftyover_kit"):
            continue
        mine, theirs = room(own), room(name)
        if mine == theirs or (
            own.startswith("fiftyover_kit") and theirs == "fiftyover_kit" and mine == "fiftyover_kit"
        ):
            continue
        if theirs == "fiftyover" and name.count(".") == 1 and name.endswith("__version__"):
            continue
        if RANK[theirs] >= RANK[mine]:
            found.append(f"{own} imports {name}: {theirs} does not stand left of {mine}")
    return found


def test_every_module_belongs_to_a_room() -> None:
    strays = [dotted(p) for p in modules(HUB) if room(dotted(p)) == "fiftyover" and dotted(p) != "fiftyover"]
    assert strays == []


def test_imports_follow_the_arrow() -> None:
    breaches = []
    for path in [*modules(HUB), *modules(KIT)]:
        if "unix" in path.parts:
            continue  # shims that stand in for the board's own modules; the hub never imports them
        breaches += import_breaches(path, dotted(path), path.read_text("utf-8"))
    assert breaches == []


def test_a_planted_breach_is_named() -> None:
    planted = "from fiftyover.heater import permit\n"
    assert import_breaches(HUB / "process" / "cure.py", "fiftyover.process.cure", planted)
    peer = "from ..heater import permit\n"
    assert import_breaches(HUB / "web" / "pages.py", "fiftyover.web.pages", peer)
    fine = "from ..store import series\nfrom ..errors import HubError\n"
    assert not import_breaches(HUB / "web" / "pages.py", "fiftyover.web.pages", fine)


def test_pure_rooms_do_no_input_or_output() -> None:
    breaches = []
    for name in PURE:
        for path in modules(HUB / name):
            tree = ast.parse(path.read_text("utf-8"))
            for target in imported(tree, dotted(path), path.name == "__init__.py"):
                if target.split(".")[0] in IMPURE_MODULES:
                    breaches.append(f"{dotted(path)} imports {target}")
            for node in ast.walk(tree):
                if (
                    isinstance(node, ast.Call)
                    and isinstance(node.func, ast.Name)
                    and node.func.id in ("open", "print", "input")
                ):
                    breaches.append(f"{dotted(path)}:{node.lineno} calls {node.func.id}")
    assert breaches == []


@pytest.mark.parametrize(
    ("module", "allowed"),
    [
        ("machine", {"firmware/fiftyover_kit/board.py"}),
        ("network", {"firmware/fiftyover_kit/board.py"}),
        ("paho", {"hub/fiftyover/broker/client.py"}),
    ],
)
def test_one_file_alone_touches(module: str, allowed: set[str]) -> None:
    users = set()
    for path in ALL_SOURCE:
        if "unix" in path.parts:
            continue
        tree = ast.parse(path.read_text("utf-8"))
        own = dotted(path) if path.name != "main.py" else "main"
        if any(name.split(".")[0] == module for name in imported(tree, own, path.name == "__init__.py")):
            users.add(path.relative_to(ROOT).as_posix())
    assert users == allowed


def test_modules_and_functions_keep_their_size() -> None:
    too_long = []
    for path in [*ALL_SOURCE, *modules(ROOT / "tests")]:
        text = path.read_text("utf-8")
        lines = text.count("\n")
        if lines > 400:
            too_long.append(f"{path.relative_to(ROOT)}: {lines} lines (at most 400)")
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                size = (node.end_lineno or node.lineno) - node.lineno + 1
                doc = ast.get_docstring(node, clean=False)
                size -= doc.count("\n") + 1 if doc else 0
                if size > 60:
                    too_long.append(f"{path.relative_to(ROOT)}:{node.lineno} {node.name}: {size} lines (at most 60)")
    assert too_long == []


def test_no_module_has_a_name_that_says_nothing() -> None:
    assert [dotted(p) for p in [*modules(HUB), *modules(KIT)] if p.stem in BANNED_NAMES] == []


def public_functions(path: Path) -> Iterator[tuple[str, ast.FunctionDef]]:
    for node in ast.parse(path.read_text("utf-8")).body:
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            yield f"{dotted(path)}.{node.name}", node
        elif isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            for item in node.body:
                if isinstance(item, ast.FunctionDef) and not item.name.startswith("_"):
                    yield f"{dotted(path)}.{node.name}.{item.name}", item


def test_public_functions_of_the_maths_say_what_they_take_and_give() -> None:
    silent = []
    for folder in (HUB / "process", HUB / "control", KIT / "contract"):
        for path in modules(folder):
            for name, node in public_functions(path):
                doc = ast.get_docstring(node) or ""
                if not doc or not UNIT_OR_NONE.search(doc):
                    silent.append(name)
    assert silent == []


def test_every_module_has_a_docstring() -> None:
    without = [
        p.relative_to(ROOT).as_posix() for p in ALL_SOURCE if not ast.get_docstring(ast.parse(p.read_text("utf-8")))
    ]
    assert without == []


def tracked() -> list[Path]:
    listing = subprocess.run(
        ["git", "ls-files", "-co", "--exclude-standard", "-z"], cwd=ROOT, capture_output=True, check=True
    )
    return [ROOT / name for name in listing.stdout.decode().split("\0") if name and (ROOT / name).is_file()]


def test_top_level_is_closed() -> None:
    names = {p.relative_to(ROOT).parts[0] for p in tracked()}
    assert {n for n in names if not n.startswith(".")} == TOP_LEVEL
    for folder in ("firmware", "hub", "dashboards", "hardware", "tests"):
        assert (ROOT / folder / "README.md").is_file(), f"{folder}/README.md is missing"


def test_nothing_tracked_names_a_machine_a_registry_or_a_secret() -> None:
    host = "|".join(["pypi" + r"\.org", "pythonhosted" + r"\.org", "npmjs" + r"\.(org|com)", "deb" + r"\.debian\.org"])
    wrong = re.compile(
        rf"({host})|--index-url|(^|[\s\"'=(])/(root|home|work)/\w|-----BEGIN [A-Z ]*PRIVATE KEY", re.MULTILINE
    )
    found = []
    for path in tracked():
        if path == Path(__file__).resolve():
            continue
        try:
            text = path.read_text("utf-8")
        except UnicodeDecodeError:
            continue
        found += [f"{path.relative_to(ROOT)}: {match.group(0).strip()}" for match in wrong.finditer(text)]
    assert found == []


def test_package_json_lists_exactly_the_firmware() -> None:
    listed = {entry[0] for entry in json.loads((ROOT / "firmware" / "package.json").read_text())["urls"]}
    there = {p.relative_to(ROOT / "firmware").as_posix() for p in modules(ROOT / "firmware")}
    assert listed == there


def project() -> dict[str, object]:
    return tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]


def test_each_dependency_has_its_reason() -> None:
    reasons = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    listed = list(project()["dependencies"])  # type: ignore[call-overload]
    for extra in project()["optional-dependencies"].values():  # type: ignore[attr-defined]
        listed += extra
    names = {re.split(r"[\s<>=!;\[]", requirement)[0] for requirement in listed} - {"fiftyover"}
    assert sorted(name for name in names if f"`{name}`" not in reasons) == []


def test_the_licence_is_said_in_both_places() -> None:
    licence = str(project()["license"])
    assert licence in (ROOT / "README.md").read_text("utf-8")


def test_numpy_is_not_forced_past_2_4() -> None:
    bounds = [d for d in project()["dependencies"] if d.startswith("numpy")]  # type: ignore[attr-defined]
    major, minor = re.search(r">=(\d+)\.(\d+)", bounds[0]).groups()  # type: ignore[union-attr]
    assert (int(major), int(minor)) <= (2, 4)
