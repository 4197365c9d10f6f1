"""create_token prints a key that opens the API, and keeps none."""

from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from rest_framework.test import APIClient

from packs.models import Client, Token

pytestmark = pytest.mark.django_db


def created(*arguments: str) -> str:
    out = StringIO()
    call_command("create_token", *arguments, stdout=out)
    return out.getvalue().splitlines()[-1]


def status_with(secret: str) -> int:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
    return int(client.get("/api/v1/packs/").status_code)


def test_the_last_line_is_a_token_that_works() -> None:
    secret = created("--role", "machine", "--name", "tester 3")
    assert status_with(secret) == 200
    assert secret.encode() not in bytes(Token.objects.get().digest)


def test_a_client_survives_the_rotation_of_its_tokens() -> None:
    for _ in range(2):
        created("--role", "machine", "--name", "tester 3")
    assert len({token.client_id for token in Token.objects.all()}) == 1


def test_one_that_has_ended_opens_nothing() -> None:
    assert status_with(created("--role", "desk", "--name", "x", "--expires", "2020-01-31")) == 401


@pytest.mark.parametrize(
    "wrong", [["--role", "king", "--name", "x"], ["--role", "desk"],
              ["--role", "desk", "--name", "x", "--expires", "soon"]],
)  # fmt: skip
def test_a_wrong_argument_is_told(wrong: list[str]) -> None:
    with pytest.raises(CommandError):
        call_command("create_token", *wrong)
    assert not Token.objects.exists()


@pytest.mark.parametrize("name", ["pages", " Pages "])
def test_the_client_of_the_pages_has_no_token(name: str) -> None:
    with pytest.raises(CommandError, match="another name"):
        created("--role", "desk", "--name", name)
    assert not Client.objects.exists()
