"""Choosing who stands by and what is worked with, by list or by scanner."""

from datetime import date
from functools import partial
from typing import Any

from django import forms
from django.utils import timezone

from packs.models import Equipment
from packs.pages.job.doers import people
from packs.pages.units import day
from packs.reads import sites


class Bystander(forms.ChoiceField):
    """A person of the bench beside the one who does the work."""

    def __init__(self, *, nobody: str, **said: Any) -> None:
        super().__init__(choices=partial(_people, nobody), **said)


class Tool(forms.ChoiceField):
    """A piece of equipment of one kind, with what is known of it."""

    def __init__(self, *, kind: str, **said: Any) -> None:
        super().__init__(choices=partial(_tools, kind), **said)


def _people(nobody: str) -> list[tuple[str, str]]:
    return [("", nobody), *people()]


def _tools(kind: str) -> list[tuple[str, str]]:
    rows = Equipment.objects.filter(kind=kind).order_by("code")
    today = sites.day(timezone.now())
    return [("", "Which one?"), *((row.code, _described(row, today)) for row in rows)]


def _described(row: Equipment, today: date) -> str:
    parts = [row.code, row.rating]
    if row.bad_since is not None:
        parts.append(f"bad since {day(row.bad_since)}")
    elif row.due_on is not None:
        word = "overdue since" if row.due_on < today else "due"
        parts.append(f"{word} {day(row.due_on)}")
    return ", ".join(part for part in parts if part)
