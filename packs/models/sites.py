"""Workshop locations."""

from typing import ClassVar

from django.db import models

from packs.models.facts import Keyed

TOUCH_LIMIT_V = 50.0  # the shop's own limit unless set; common practice, no source
TOUCH_LIMIT_MAX_V = 60.0  # voltage class B begins above 60 V d.c. (ISO 6469-4:2015, 5.2.2)


class Site(Keyed):
    """One workshop location and how its pages show distances, temperatures and money."""

    PREFIX: ClassVar[str] = "si"
    KIND: ClassVar[str] = "site"

    class DateOrder(models.TextChoices):
        DAY_MONTH = "day_month"
        MONTH_DAY = "month_day"
        ISO = "iso"

    code = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=100)
    time_zone = models.CharField(max_length=60)
    distance = models.CharField(max_length=2, default="km")
    temperature = models.CharField(max_length=1, default="c")
    date_order = models.CharField(
        max_length=9, choices=DateOrder.choices, default=DateOrder.DAY_MONTH
    )
    currency = models.CharField(max_length=3, default="", blank=True)
    touch_limit_v = models.FloatField(default=TOUCH_LIMIT_V)
    rules = models.JSONField(default=dict)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(touch_limit_v__gt=0, touch_limit_v__lte=TOUCH_LIMIT_MAX_V),
                name="site_touch_limit_is_safe",
            )
        ]
