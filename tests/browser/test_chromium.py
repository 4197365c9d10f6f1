"""What the test command says and does where there is no browser."""

import subprocess
import sys
from pathlib import Path

import pytest

BASE_DIR = Path(__file__).resolve().parents[2]
NEEDS_ONE = "tests/browser/test_looking.py::test_each_measure_finds_what_it_is_for"


@pytest.mark.parametrize(
    ("ci", "code", "told"),
    [
        ("", 0, "1 tests were skipped: the browser tests need Chromium"),
        ("true", 1, "0 passed, 1 failed"),
    ],
)
def test_without_a_browser_its_tests_are_skipped_and_fail_in_ci(
    tmp_path: Path, ci: str, code: int, told: str
) -> None:
    ran = subprocess.run(
        [sys.executable, "-m", "tests", "--only", "sqlite", "-q", NEEDS_ONE],
        cwd=BASE_DIR, env={"PATH": str(tmp_path), "CI": ci}, capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    assert ran.returncode == code, ran.stdout + ran.stderr
    assert told in ran.stdout[-400:]
