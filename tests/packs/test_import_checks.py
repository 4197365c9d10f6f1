"""import_checks brings a file in, or says line by line why not."""

import shlex
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from packs.models import Client, ImportFile, ImportSource, VoltageCheck
from packs.rules.import_text import as_text
from packs.writes import imports
from tests import world
from tests.packs.testers import CHECKS, GUESSED, TESTERS, MadeFile

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def packs() -> None:
    world.pack("TP-0001")
    world.pack("TP-0002")


def run(*arguments: Any) -> tuple[int, str, str]:
    """The exit code, what was printed, and what was told beside it."""
    out, err = StringIO(), StringIO()
    try:
        call_command("import_checks", *map(str, arguments), stdout=out, stderr=err)
    except CommandError as error:
        return error.returncode, out.getvalue(), err.getvalue() + str(error)
    return 0, out.getvalue(), err.getvalue()


def written(folder: Path, content: bytes, name: str = "a.csv") -> Path:
    file = folder / name
    file.write_bytes(content)
    return file


@pytest.mark.parametrize("tester", TESTERS, ids=lambda tester: tester.name)
def test_named_columns_bring_a_file_in(tester: MadeFile, tmp_path: Path) -> None:
    file = written(tmp_path, tester.content)
    given = ["--columns", as_text(tester.columns), "--given", as_text(tester.settings)]
    code, told, _ = run(file, "--source", "tester", *given, "--dry-run")
    assert (code, "Would be: 4 stored, 0 repeated, 0 refused." in told) == (0, True)
    assert not VoltageCheck.objects.exists()
    assert not ImportSource.objects.exists()
    assert not Client.objects.filter(name="import").exists()
    code, told, beside = run(file, "--source", "tester", *given)
    assert (code, told) == (0, "4 stored, 0 repeated, 0 refused.\n")
    assert "of about" in beside
    assert ImportSource.objects.get().settings == tester.settings
    again, told, _ = run(file, "--source", "tester")
    assert (again, "handed in before" in told) == (0, True)
    assert VoltageCheck.objects.count() == len(CHECKS)
    assert VoltageCheck.objects.first().client.name == "import"  # type: ignore[union-attr]


@pytest.mark.parametrize("tester", GUESSED, ids=lambda tester: tester.name)
def test_plain_headers_need_no_columns(tester: MadeFile, tmp_path: Path) -> None:
    code, told, beside = run(written(tmp_path, tester.content))
    assert (code, told) == (0, "4 stored, 0 repeated, 0 refused.\n"), beside
    source = ImportSource.objects.get()
    assert source.columns == tester.columns
    columns = shlex.quote(as_text(source.columns))
    assert f"--source {source.code} --columns {columns}" in beside


def test_a_known_source_is_recognised_by_its_headers(tmp_path: Path) -> None:
    signed = next(tester for tester in TESTERS if tester.name == "signed")
    given = ["--columns", as_text(signed.columns), "--given", as_text(signed.settings)]
    run(written(tmp_path, signed.content), "--source", "s-1", *given)
    later = signed.content.replace(b"20240305", b"20240306")
    code, told, beside = run(written(tmp_path, later), "--client", "night shift")
    assert (code, told) == (0, "2 stored, 2 repeated, 0 refused.\n")
    assert "--source s-1" in beside
    assert ImportFile.objects.latest("pk").client.name == "night shift"


def test_refused_lines_are_told_and_the_good_ones_stored(tmp_path: Path) -> None:
    english = TESTERS[0].content.replace(b"TP-0002", b"TP-0009")
    code, told, beside = run(written(tmp_path, english))
    assert code == 1
    assert told.splitlines() == [
        "line 4: Pack serial 'TP-0009': No pack 'TP-0009' is recorded; post it to packs/ first, "
        "or correct the name.",
        "line 5: Pack serial 'TP-0009': No pack 'TP-0009' is recorded; post it to packs/ first, "
        "or correct the name.",
        "2 stored, 0 repeated, 2 refused.",
    ]
    assert beside.endswith("2 refused.")
    world.pack("TP-0009")
    code, told, _ = run(written(tmp_path, english), "--again")
    assert (code, told) == (0, "2 stored, 2 repeated, 0 refused.\n")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"\x00\x01", "no file of text"),
        (b"one\ntwo\n", "No row of headers"),
        (b"a,b,c\n1,2,3\n", "setting pack"),
    ],
)
def test_what_can_not_be_read_is_exit_code_2(content: bytes, words: str, tmp_path: Path) -> None:
    code, _, beside = run(written(tmp_path, content))
    assert (code, words in beside) == (2, True), beside
    assert not ImportSource.objects.exists()


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    assert run(tmp_path / "none.csv")[0] == 2


def test_ctrl_c_stops_between_batches_and_the_same_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(imports, "BATCH", 1)
    file = written(tmp_path, TESTERS[0].content)
    store = imports._store
    done: list[int] = []

    def stopped(*arguments: Any, **more: Any) -> Any:
        if len(done) == 2:
            raise KeyboardInterrupt
        done.append(1)
        return store(*arguments, **more)

    with monkeypatch.context() as pressed:
        pressed.setattr(imports, "_store", stopped)
        code, _, beside = run(file)
    assert (code, "Stopped after line 3" in beside) == (130, True)
    assert VoltageCheck.objects.count() == 2
    assert run(file)[:2] == (0, "4 stored, 0 repeated, 0 refused.\n")
    assert VoltageCheck.objects.count() == 4


def test_other_columns_for_a_known_source_take_their_place(tmp_path: Path) -> None:
    file = written(tmp_path, TESTERS[0].content)
    run(file, "--source", "t")
    other = written(tmp_path, TESTERS[6].content, "b.csv")
    code, told, _ = run(other, "--source", "t", "--columns", as_text(TESTERS[6].columns),
                        "--given", "condition=by_current")  # fmt: skip
    assert (code, told) == (0, "0 stored, 4 repeated, 0 refused.\n")
    source = ImportSource.objects.get()
    assert (source.version, source.columns) == (2, TESTERS[6].columns)


@pytest.mark.parametrize("given", [["--columns", "pack"], ["--given", "level="]])
def test_a_wrong_argument_is_told(given: list[str], tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="name=value"):
        call_command("import_checks", str(tmp_path / "a.csv"), *given)
