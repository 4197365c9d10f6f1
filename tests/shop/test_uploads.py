"""Forms with files: a body too large for any page is refused before it is kept."""

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from shop import uploads
from tests.pages import signed_in

pytestmark = pytest.mark.django_db
LIMIT = 10_000


@pytest.fixture(autouse=True)
def limit(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(uploads, "UPLOAD_MAX", LIMIT)


def sent(client: Client, size: int) -> int:
    file = SimpleUploadedFile("log.csv", b"x" * size)
    return client.post("/import/", {"file": file}).status_code


def stranger() -> Client:
    """Somebody not signed in, whose form is read for its token all the same."""
    client = Client(enforce_csrf_checks=True)
    client.cookies[settings.CSRF_COOKIE_NAME] = "a" * 32
    return client


def test_a_body_too_large_is_refused_whoever_sends_it() -> None:
    assert sent(stranger(), LIMIT) == 400
    assert sent(signed_in("bench"), LIMIT) == 400


def test_a_smaller_one_comes_to_its_page() -> None:
    assert sent(stranger(), LIMIT // 2) == 403
    assert sent(signed_in("bench"), LIMIT // 2) == 200
