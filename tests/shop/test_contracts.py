"""The rules between the rooms bite: each forbidden line, planted in a copy, is found."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

BASE_DIR = Path(__file__).resolve().parents[2]
ROOMS = ("packs", "reports", "shop")
TOOLS = Path(sys.executable).parent

FORBIDDEN_IMPORTS = [
    ("packs/rules/planted.py", "import django"),
    ("packs/rules/planted.py", "from rest_framework import status"),
    ("packs/rules/planted.py", "from packs import errors"),
    ("packs/writes/planted.py", "import reports"),
    ("packs/models/planted.py", "import shop"),
    ("packs/reads/planted.py", "from packs import writes"),
    ("packs/writes/planted.py", "from rest_framework import exceptions"),
    ("packs/writes/planted.py", "import celery"),
    ("packs/pages/planted.py", "from packs import api"),
    ("reports/trends/planted.py", "from packs import models"),
    ("reports/trends/planted.py", "import django"),
    ("reports/reads/planted.py", "from reports import writes"),
    ("reports/writes/planted.py", "from rest_framework import exceptions"),
    ("reports/api/planted.py", "import shop"),
]
NEW_ROOMS = ["packs/helpers.py", "reports/helpers.py"]
FORBIDDEN_LINES = [
    ("packs/writes/planted.py", "from django.http import HttpResponse\n\nHttpResponse", "TID251"),
    ("reports/reads/planted.py", "import django.http\n\ndjango.http", "TID251"),
    ("packs/models/planted.py", "from django.utils.timezone import now\n\nnow", "TID251"),
    ("reports/writes/planted.py", "from django.utils import timezone\n\ntimezone.now", "TID251"),
    ("packs/reads/planted.py", "def read() -> None:\n    import json\n\n    json", "PLC0415"),
    ("shop/planted.py", "def read() -> None:\n    import json\n\n    json", "PLC0415"),
    ("packs/writes/planted.py", "try:\n    1 / 0\nexcept Exception:\n    pass", "BLE001"),
]


@pytest.fixture(scope="module")
def copy_of_rooms(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("copy")
    for room in ROOMS:
        ignored = shutil.ignore_patterns("__pycache__", "static", "templates")
        shutil.copytree(BASE_DIR / room, folder / room, ignore=ignored)
    shutil.copy(BASE_DIR / "pyproject.toml", folder)
    return folder


@pytest.fixture
def tree(copy_of_rooms: Path) -> Path:
    for planted in (*copy_of_rooms.rglob("planted.py"), *copy_of_rooms.rglob("helpers.py")):
        planted.unlink()
    return copy_of_rooms


def run(tree: Path, tool: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [str(TOOLS / tool), *arguments], cwd=tree, capture_output=True, text=True, check=False
    )


def test_the_tree_as_it_stands_keeps_every_contract(tree: Path) -> None:
    done = run(tree, "lint-imports")
    assert done.returncode == 0, done.stdout
    assert " 0 broken" in done.stdout


@pytest.mark.parametrize(("place", "line"), FORBIDDEN_IMPORTS)
def test_a_forbidden_import_breaks_a_contract(tree: Path, place: str, line: str) -> None:
    (tree / place).write_text(f"{line}\n")
    done = run(tree, "lint-imports")
    assert done.returncode == 1, done.stdout
    assert "planted" in done.stdout.partition("Broken contracts")[2]


@pytest.mark.parametrize("place", NEW_ROOMS)
def test_a_module_beside_the_layers_breaks_a_contract(tree: Path, place: str) -> None:
    (tree / place).touch()
    done = run(tree, "lint-imports")
    assert done.returncode == 1
    assert "helpers" in done.stdout


@pytest.mark.parametrize(("place", "lines", "code"), FORBIDDEN_LINES)
def test_a_forbidden_line_is_found(tree: Path, place: str, lines: str, code: str) -> None:
    (tree / place).write_text(f"{lines}\n")
    done = run(tree, "ruff", "check", "--no-cache", "--output-format", "concise", place)
    assert done.returncode == 1
    assert f" {code} " in done.stdout


@pytest.mark.parametrize("place", ["packs/api/planted.py", "reports/pages/planted.py"])
def test_the_doors_may_read_the_clock_and_speak_http(tree: Path, place: str) -> None:
    (tree / place).write_text(
        '"""A door."""\n\nfrom django.http import HttpResponse\nfrom django.utils.timezone '
        "import now\n\n\ndef answer() -> HttpResponse:\n    return HttpResponse(str(now()))\n"
    )
    assert run(tree, "ruff", "check", "--no-cache", place).returncode == 0
