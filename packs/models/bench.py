"""The steps of a job on a visit, from lock-out to release, and what else the bench notes."""

from typing import ClassVar

from django.db import models
from django.db.models import F, Q

from packs.models.facts import Fact


class Part(models.TextChoices):
    """What is taken out and put back."""

    COVER = "cover"
    DUCT = "duct"
    JUNCTION_BOARD = "junction_board"
    SERVICE_SWITCH = "service_switch"
    BUS_BAR = "bus_bar"
    SENSE_HARNESS = "sense_harness"
    SENSOR = "sensor"
    CLAMP = "clamp"
    MODULE = "module"
    OTHER = "other"


class Step(Fact):
    """One step of the work on the pack of a visit."""

    visit = models.ForeignKey("packs.Visit", models.PROTECT, related_name="+")
    happened_at = models.DateTimeField()
    note = models.TextField(default="", blank=True)

    class Meta(Fact.Meta):
        abstract = True


class LockOut(Step):
    """The car side proved dead; of the pack side it says how high it stays live.

    `highest_v` is that of the largest piece still joined when it was recorded, V; `readings` the
    car side by where it was measured, V; `worn` and `done` what was confirmed.
    """

    PREFIX: ClassVar[str] = "lk"
    KIND: ClassVar[str] = "lock_out"

    done = models.JSONField(default=dict)
    worn = models.JSONField(default=dict)
    readings = models.JSONField(default=dict)
    waited_min = models.FloatField()
    source_before_v = models.FloatField()
    source_after_v = models.FloatField()
    meter = models.ForeignKey("packs.Equipment", models.PROTECT, related_name="+")
    gloves = models.ForeignKey("packs.Equipment", models.PROTECT, related_name="+")
    switch_kept_by = models.ForeignKey("packs.Person", models.PROTECT, related_name="+")
    second_person = models.ForeignKey("packs.Person", models.PROTECT, null=True, related_name="+")
    touch_limit_v = models.FloatField()
    highest_v = models.FloatField()

    class Meta(Step.Meta):
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(
                condition=Q(touch_limit_v__gt=0, touch_limit_v__lte=60, highest_v__gt=0),
                name="lockout_limits_are_safe",
            ),
        ]
        indexes = [models.Index(fields=["visit", "happened_at"], name="lockout_by_visit")]


class ReEnergising(Step):
    """The switch goes back in: it ends a lock-out, and who works on needs another."""

    PREFIX: ClassVar[str] = "rg"
    KIND: ClassVar[str] = "re_energising"

    lock_out = models.ForeignKey(LockOut, models.PROTECT, related_name="ends")
    done = models.JSONField(default=dict)
    second_person = models.ForeignKey("packs.Person", models.PROTECT, null=True, related_name="+")

    class Meta(Step.Meta):
        constraints = [
            *Fact.Meta.constraints,
            models.UniqueConstraint(
                fields=["lock_out"],
                condition=Q(voided_at__isnull=True),
                name="reenergising_ends_once",
            ),
        ]
        indexes = [models.Index(fields=["visit", "happened_at"], name="reenergising_by_visit")]


class Teardown(Step):
    """Something taken out: which part where, its fasteners by kind and count, how it lay.

    `places` are positions, or for a bus bar the module that it follows; `seen` what is to be
    remembered of each place. Without a lock-out there is none.
    """

    PREFIX: ClassVar[str] = "td"
    KIND: ClassVar[str] = "teardown"

    lock_out = models.ForeignKey(LockOut, models.PROTECT, related_name="teardowns")
    part = models.CharField(max_length=16, choices=Part.choices)
    places = models.JSONField(default=list)
    slot = models.CharField(max_length=60, default="", blank=True)
    fasteners = models.JSONField(default=list)
    seen = models.JSONField(default=list)
    photos = models.JSONField(default=list)

    class Meta(Step.Meta):
        indexes = [models.Index(fields=["visit", "happened_at"], name="teardown_by_visit")]


class Reassembly(Step):
    """Something put back, with its fasteners, their torque and tool, and what was measured.

    `readings` are rest voltages by position before the last bus bar of each, V; `half_v` the
    voltage of the half `half` alone, V; `seen` how positions lie now; `warnings` what was told of
    tools and torques when it was recorded. `starts_build`: the pack's trend begins anew with it.
    """

    PREFIX: ClassVar[str] = "ra"
    KIND: ClassVar[str] = "reassembly"

    class Kinds(models.TextChoices):
        FITTED = "fitted"
        POLARITY = "polarity"
        EQUALISED = "equalised"
        HALF = "half"

    lock_out = models.ForeignKey(LockOut, models.PROTECT, related_name="reassemblies")
    kind = models.CharField(max_length=9, choices=Kinds.choices)
    part = models.CharField(max_length=16, choices=Part.choices, default="", blank=True)
    places = models.JSONField(default=list)
    slot = models.CharField(max_length=60, default="", blank=True)
    fasteners = models.JSONField(default=list)
    seen = models.JSONField(default=list)
    readings = models.JSONField(default=list)
    warnings = models.JSONField(default=list)
    half = models.PositiveSmallIntegerField(null=True)
    half_v = models.FloatField(null=True)
    current_a = models.FloatField(null=True)
    meter = models.ForeignKey("packs.Equipment", models.PROTECT, null=True, related_name="+")
    photos = models.JSONField(default=list)
    starts_build = models.BooleanField()

    class Meta(Step.Meta):
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(
                condition=(Q(kind="half") & Q(half__in=(1, 2)) & Q(half_v__isnull=False))
                | (~Q(kind="half") & Q(half__isnull=True) & Q(half_v__isnull=True)),
                name="reassembly_half_is_measured",
            ),
            models.CheckConstraint(
                condition=~Q(kind="fitted") | ~Q(part=""), name="reassembly_names_its_part"
            ),
        ]
        indexes = [
            models.Index(fields=["visit", "happened_at"], name="reassembly_by_visit"),
            models.Index(
                fields=["pack", "happened_at"],
                condition=Q(starts_build=True),
                name="reassembly_starting_build",
            ),
        ]


class IsolationCheck(Step):
    """Resistance from the string to its case; `isolation_ohm` as worked out or as read.

    By two voltages: the pack's, plus and minus to case, and each again with a known resistor
    between that side and the case, V and ohms.
    """

    PREFIX: ClassVar[str] = "ic"
    KIND: ClassVar[str] = "isolation_check"

    class Scope(models.TextChoices):
        IN_CAR = "in_car"
        HARNESS_OFF = "harness_off"
        PACK_ALONE = "pack_alone"

    class Method(models.TextChoices):
        TWO_VOLTAGES = "two_voltages"
        TESTER = "tester"

    scope = models.CharField(max_length=11, choices=Scope.choices)
    method = models.CharField(max_length=12, choices=Method.choices)
    wet = models.BooleanField(default=False)
    pack_v = models.FloatField()
    plus_case_v = models.FloatField(null=True)
    minus_case_v = models.FloatField(null=True)
    shunted_v = models.FloatField(null=True)
    shunt_ohm = models.FloatField(null=True)
    test_v = models.FloatField(null=True)
    isolation_ohm = models.FloatField()
    equipment = models.ForeignKey("packs.Equipment", models.PROTECT, null=True, related_name="+")

    class Meta(Step.Meta):
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(
                condition=Q(pack_v__gt=0, isolation_ohm__gte=0),
                name="isolationcheck_is_physical",
            ),
        ]
        indexes = [models.Index(fields=["visit", "happened_at"], name="isolation_by_visit")]


class Release(Step):
    """The pack leaves the bench, with what it rests on; one release of a visit counts."""

    PREFIX: ClassVar[str] = "rl"
    KIND: ClassVar[str] = "release"

    re_energising = models.ForeignKey(ReEnergising, models.PROTECT, null=True, related_name="+")
    isolation_check = models.ForeignKey(IsolationCheck, models.PROTECT, null=True, related_name="+")
    rest_check = models.ForeignKey("packs.VoltageCheck", models.PROTECT, related_name="+")
    load_check = models.ForeignKey("packs.VoltageCheck", models.PROTECT, related_name="+")
    codes_clear = models.BooleanField()
    road_test = models.JSONField(default=dict)
    odometer_km = models.PositiveIntegerField(null=True)
    warranty = models.ForeignKey("packs.Warranty", models.PROTECT, null=True, related_name="+")
    recheck_on = models.DateField()
    recheck_km = models.PositiveIntegerField(null=True)

    class Meta(Step.Meta):
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(condition=Q(codes_clear=True), name="release_codes_are_clear"),
            models.UniqueConstraint(
                fields=["visit"], condition=Q(voided_at__isnull=True), name="release_once_a_visit"
            ),
        ]


class WorkTime(Fact):
    """Time spent on a stage of a job; without an end the clock runs."""

    PREFIX: ClassVar[str] = "wt"
    KIND: ClassVar[str] = "work_time"

    class Stage(models.TextChoices):
        ARRIVAL = "arrival"
        INSPECTION = "inspection"
        LOCK_OUT = "lock_out"
        TEARDOWN = "teardown"
        TESTS = "tests"
        SWAPS = "swaps"
        REASSEMBLY = "reassembly"
        ROAD_TEST = "road_test"
        OTHER = "other"

    visit = models.ForeignKey("packs.Visit", models.PROTECT, related_name="+")
    stage = models.CharField(max_length=10, choices=Stage.choices)
    started_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)
    note = models.TextField(default="", blank=True)

    class Meta(Fact.Meta):
        constraints = [
            *Fact.Meta.constraints,
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True) | Q(ended_at__gte=F("started_at")),
                name="worktime_ends_after_it_begins",
            ),
        ]
        indexes = [models.Index(fields=["visit", "started_at"], name="worktime_by_visit")]


class Incident(Fact):
    """Somebody was hurt or something broke, or nearly."""

    PREFIX: ClassVar[str] = "ii"
    KIND: ClassVar[str] = "incident"

    class Kinds(models.TextChoices):
        INCIDENT = "incident"
        NEAR_MISS = "near_miss"

    class Harm(models.TextChoices):
        NONE = "none"
        FIRST_AID = "first_aid"
        MEDICAL = "medical"
        DAMAGE = "damage"

    visit = models.ForeignKey("packs.Visit", models.PROTECT, null=True, related_name="+")
    happened_at = models.DateTimeField()
    kind = models.CharField(max_length=9, choices=Kinds.choices)
    harm = models.CharField(max_length=9, choices=Harm.choices)
    what = models.TextField()
    action = models.TextField(default="", blank=True)

    class Meta(Fact.Meta):
        pass
