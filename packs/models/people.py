"""Who does the work, who signs in, and what they work with."""

from typing import ClassVar

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models

from packs.models.facts import Keyed


class Person(Keyed):
    """Somebody who works here; tablets are shared, so this is not the sign-in."""

    PREFIX: ClassVar[str] = "pe"
    KIND: ClassVar[str] = "person"

    code = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=100)
    roles = models.JSONField(default=list)
    qualifications = models.JSONField(default=list)
    site = models.ForeignKey("packs.Site", models.PROTECT, null=True, related_name="+")


class AccountManager(BaseUserManager["Account"]):
    """Accounts by their user name, each with its person: no page is shown without the roles."""

    def get_queryset(self) -> models.QuerySet["Account"]:
        return super().get_queryset().select_related("person")


class Account(AbstractBaseUser):
    """A sign-in to the pages; its roles are those of its person."""

    username = models.CharField(max_length=60, unique=True)
    person = models.ForeignKey(Person, models.PROTECT, related_name="accounts")
    is_active = models.BooleanField(default=True)

    objects: ClassVar[AccountManager] = AccountManager()
    USERNAME_FIELD = "username"
    REQUIRED_FIELDS: ClassVar[list[str]] = []

    @property
    def roles(self) -> frozenset[str]:
        return frozenset(self.person.roles)


class Equipment(Keyed):
    """A meter, a tester, a tool or a pair of gloves, with the date its next test is due."""

    PREFIX: ClassVar[str] = "eq"
    KIND: ClassVar[str] = "equipment"

    class Kinds(models.TextChoices):
        METER = "meter"
        TESTER = "tester"
        ISOLATION_TESTER = "isolation_tester"
        TORQUE_TOOL = "torque_tool"
        GLOVES = "gloves"
        INSULATED_TOOLS = "insulated_tools"

    code = models.CharField(max_length=40, unique=True)
    kind = models.CharField(max_length=20, choices=Kinds.choices)
    serial = models.CharField(max_length=60, default="", blank=True)
    rating = models.CharField(max_length=100, default="", blank=True)
    checked_on = models.DateField(null=True)
    due_on = models.DateField(null=True)
    issued_on = models.DateField(null=True)
    bad_since = models.DateField(null=True)
