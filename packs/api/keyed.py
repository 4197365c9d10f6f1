"""What everything with a key of its own is answered with."""

from typing import Any

from rest_framework import serializers


class KeyedAnswer(serializers.Serializer[Any]):
    """When it was learnt and through whom; the version is the ETag that a change names."""

    recorded_at = serializers.DateTimeField()
    client = serializers.CharField(source="client.name")
    version = serializers.IntegerField()
