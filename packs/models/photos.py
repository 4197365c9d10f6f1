"""Photographs: what was seen, as a fact, and the picture itself beside it."""

from typing import ClassVar

from django.db import models

from packs.models.facts import Fact


class Photo(Fact):
    """A photograph of a pack or a part of it; width and height in pixels as it is kept."""

    PREFIX: ClassVar[str] = "ph"
    KIND: ClassVar[str] = "photo"

    visit = models.ForeignKey("packs.Visit", models.PROTECT, null=True, related_name="+")
    happened_at = models.DateTimeField()
    note = models.CharField(max_length=200, default="", blank=True)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()

    class Meta(Fact.Meta):
        indexes = [models.Index(fields=["pack", "happened_at"], name="photo_by_pack")]


class PhotoContent(models.Model):
    """The picture, encoded anew as JPEG without what the camera wrote beside it, and a small one.

    A table of its own, so that no list of facts reads pictures along.
    """

    photo = models.OneToOneField(Photo, models.PROTECT, primary_key=True, related_name="content")
    jpeg = models.BinaryField()
    small = models.BinaryField()
