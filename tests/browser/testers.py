"""A tester's export, as it is handed in on the page of the import."""

from uuid import uuid4

from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from tests import world

HEADERS = ("pack", "taken at", "condition", "current A", *(f"block {n}" for n in range(1, 15)))
NOBODY = "TP-NOBODY"


def export(*serials: str) -> str:
    """A CSV with one load check of each pack, an hour apart."""
    lines = [",".join(HEADERS)]
    for hour, serial in enumerate(serials):
        taken_at = world.later(days=400, hours=hour)
        volts = [f"{15.0 + 0.01 * (place % 3):.2f}" for place in range(14)]
        lines.append(",".join([serial, taken_at.isoformat(), "load", "20", *volts]))
    return "\n".join(lines) + "\n"


def hand_in(manager: Client, *serials: str) -> str:
    """Hand such a file in as a form does; its key."""
    file = SimpleUploadedFile(f"{'-'.join(serials)}.csv", export(*serials).encode())
    sent = {"file": file, "name": "Load tester", "sent_as": str(uuid4())}
    answer = manager.post("/import/", sent)
    assert answer.status_code == 302, answer.content
    return str(answer.headers["Location"]).split("/")[2]


def store(manager: Client, key: str) -> None:
    """Store its good lines."""
    answer = manager.post(f"/import/{key}/store/", {"version": "1"})
    assert answer.status_code == 302
