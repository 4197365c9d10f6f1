"""What the desk and the owner say to each other: consents, estimates of cost, calls, cores."""

from typing import ClassVar

from django.db import models
from django.db.models import Q

from packs.models.facts import Fact


class CostEstimate(Fact):
    """What work on a visit is expected to cost; its sums follow from its lines."""

    PREFIX: ClassVar[str] = "ce"
    KIND: ClassVar[str] = "cost_estimate"

    visit = models.ForeignKey("packs.Visit", models.PROTECT, related_name="cost_estimates")
    happened_at = models.DateTimeField()
    valid_until = models.DateField(null=True)
    tax_pct = models.DecimalField(max_digits=5, decimal_places=2, default=0)
    note = models.TextField(default="", blank=True)

    class Meta(Fact.Meta):
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(
                condition=Q(tax_pct__gte=0, tax_pct__lte=100), name="costestimate_tax_is_a_share"
            ),
        ]


class EstimateLine(models.Model):
    """One line of an estimate: so many of what, at how much each."""

    class Kinds(models.TextChoices):
        PART = "part"
        LABOUR = "labour"
        OTHER = "other"

    estimate = models.ForeignKey(CostEstimate, models.PROTECT, related_name="lines")
    kind = models.CharField(max_length=6, choices=Kinds.choices)
    what = models.CharField(max_length=200)
    quantity = models.DecimalField(max_digits=8, decimal_places=2)
    unit_price = models.DecimalField(max_digits=10, decimal_places=2)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(quantity__gt=0, unit_price__gte=0), name="estimateline_has_an_amount"
            )
        ]


class Consent(Fact):
    """The owner's word: to the work of a visit, or to extra work at an estimated cost.

    `wording` is what was put before the owner, as it read on the day.
    """

    PREFIX: ClassVar[str] = "co"
    KIND: ClassVar[str] = "consent"

    class About(models.TextChoices):
        INTAKE = "intake"
        EXTRA_WORK = "extra_work"

    class How(models.TextChoices):
        SIGNED = "signed"
        IN_PERSON = "in_person"
        TELEPHONE = "telephone"
        MAIL = "mail"

    visit = models.ForeignKey("packs.Visit", models.PROTECT, related_name="consents")
    about = models.CharField(max_length=10, choices=About.choices)
    estimate = models.ForeignKey(CostEstimate, models.PROTECT, null=True, related_name="consents")
    given = models.BooleanField()
    how = models.CharField(max_length=10, choices=How.choices)
    happened_at = models.DateTimeField()
    wording = models.TextField(default="", blank=True)
    note = models.TextField(default="", blank=True)

    class Meta(Fact.Meta):
        pass


class Call(Fact):
    """The owner of a pack was called, or somebody tried."""

    PREFIX: ClassVar[str] = "ca"
    KIND: ClassVar[str] = "call"

    class Reason(models.TextChoices):
        OUTLOOK = "outlook"
        OWNER_WORD = "owner_word"
        READY = "ready"
        CORE = "core"
        RECHECK = "recheck"
        OTHER = "other"

    class Outcome(models.TextChoices):
        REACHED = "reached"
        NOT_REACHED = "not_reached"
        BOOKED = "booked"

    visit = models.ForeignKey("packs.Visit", models.PROTECT, null=True, related_name="+")
    happened_at = models.DateTimeField()
    reason = models.CharField(max_length=10, choices=Reason.choices)
    outcome = models.CharField(max_length=11, choices=Outcome.choices)
    again_on = models.DateField(null=True)
    note = models.TextField(default="", blank=True)

    class Meta(Fact.Meta):
        indexes = [models.Index(fields=["pack", "happened_at"], name="call_by_pack")]


class Core(Fact):
    """An old pack that is owed to the shop in exchange, and the deposit held for it.

    How it goes on is told by the whole record again, in place of the one before.
    """

    PREFIX: ClassVar[str] = "cr"
    KIND: ClassVar[str] = "core"

    class State(models.TextChoices):
        DUE = "due"
        ACCEPTED = "accepted"
        REFUSED = "refused"
        REFUNDED = "refunded"

    visit = models.ForeignKey("packs.Visit", models.PROTECT, null=True, related_name="+")
    deposit = models.DecimalField(max_digits=10, decimal_places=2)
    due_on = models.DateField()
    state = models.CharField(max_length=8, choices=State.choices)
    reason = models.TextField(default="", blank=True)
    returned_on = models.DateField(null=True)
    complete = models.BooleanField(null=True)
    opened = models.BooleanField(null=True)
    flooded = models.BooleanField(null=True)
    refund = models.DecimalField(max_digits=10, decimal_places=2, null=True)
    photos = models.JSONField(default=list)

    class Meta(Fact.Meta):
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(
                condition=Q(deposit__gte=0) & (Q(refund__isnull=True) | Q(refund__gte=0)),
                name="core_money_is_not_negative",
            ),
            models.CheckConstraint(
                condition=Q(state="due") | Q(returned_on__isnull=False),
                name="core_judged_is_returned",
            ),
            models.UniqueConstraint(
                fields=["pack"],
                condition=Q(state="due", voided_at__isnull=True),
                name="core_due_once",
            ),
        ]
        indexes = [
            models.Index(
                fields=["due_on"],
                condition=Q(state="due", voided_at__isnull=True),
                name="core_still_due",
            )
        ]
