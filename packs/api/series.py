"""Raw series in a body: columns of figures, read without a look at each field."""

from typing import Any

import numpy as np
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from packs.api.shapes import Shape
from packs.rules.module_tests import POINTS_MAX

NUMBERS = frozenset({int, float})  # a bool is no number
TOLD = 20  # of the places of a column that hold no number


@extend_schema_field({"type": "array", "items": {"type": "number"}, "maxItems": POINTS_MAX})
class Figures(serializers.Field[Any, Any, Any, Any]):
    """A column of numbers, as an array."""

    def to_internal_value(self, data: Any) -> Any:
        if not isinstance(data, list):
            raise serializers.ValidationError("Not a list: send one number a point.", "not_a_list")
        if len(data) > POINTS_MAX:
            told = f"At most {POINTS_MAX} points; thin the series out."
            raise serializers.ValidationError(told, "wrong_count")
        if not set(map(type, data)) <= NUMBERS:
            places = [place for place, one in enumerate(data) if type(one) not in NUMBERS][:TOLD]
            told = serializers.ErrorDetail("Not a number: send a JSON number.", "not_a_number")
            raise serializers.ValidationError({str(place): [told] for place in places})
        return np.array(data, dtype=np.float64)

    def to_representation(self, value: Any) -> Any:
        return value.tolist()


class SeriesEntry(Shape):
    """Seconds, amperes (positive out of the module) and volts, one of each for every point."""

    seconds = Figures()
    current_a = Figures()
    voltage_v = Figures()


class SeriesAnswer(serializers.Serializer[Any]):
    """A series as it is kept, in single precision."""

    points = serializers.IntegerField(source="seconds.size")
    seconds = Figures()
    current_a = Figures()
    voltage_v = Figures()
