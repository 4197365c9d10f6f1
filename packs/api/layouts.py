"""What a pack type says for the bench, field by field, as it is sent and answered."""

from typing import Any

from rest_framework import serializers

from packs.api.fields import Choice, Number, Text, Truth, Whole, optional
from packs.api.shapes import Shape
from packs.models import Part, Placement
from packs.rules.bounds import COLDEST_C, CURRENT_MAX_A, HOTTEST_C

ROWS_MAX = 2000  # as many as a type may have modules; common practice, no source
NAME_MAX = 60  # characters of the name of a slot, a lead or a kind of fastener
RATING_MAX = 100  # characters of a rating that is a text
TORQUE_MAX_NM = 200.0  # far more than a terminal stands; common practice, no source
MINUTES_MAX = 10_080.0  # a week; common practice, no source
LARGE = 1e9  # uF, mohm, mV or Ah: beyond any pack; common practice, no source


class Ratings(serializers.DictField):
    """What a part must stand: names with a number or a text each."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(required=False, **kwargs)

    def to_internal_value(self, data: Any) -> Any:
        said = super().to_internal_value(data)
        wrong = [name for name, value in said.items() if not _plain(value)]
        if wrong:
            sentence = "Not a rating: send a number or a text."
            raise serializers.ValidationError({name: [sentence] for name in wrong}, "not_a_rating")
        return said


def _plain(value: Any) -> bool:
    if isinstance(value, str):
        return len(value) <= RATING_MAX and value.isprintable()
    return not isinstance(value, bool) and isinstance(value, int | float) and abs(value) < LARGE


class SeatShape(Shape):
    """One position: which way round its module lies, and what is clipped to it."""

    position = Whole(min_value=1)
    orientation = Choice(Placement.Orientation.choices, required=False)
    sense_lead = optional(Text, max_length=NAME_MAX)
    clip = optional(Text, max_length=NAME_MAX)
    sensor = optional(Text, max_length=NAME_MAX)


class SlotShape(Shape):
    """One place for a part of a kind."""

    slot = Text(max_length=NAME_MAX, min_length=1)
    kind = Text(max_length=NAME_MAX, min_length=1)
    ratings = Ratings()


class FastenerShape(Shape):
    """Fasteners of one kind: how many a whole pack has, and of which part."""

    kind = Text(max_length=NAME_MAX, min_length=1)
    count = Whole(min_value=1, max_value=ROWS_MAX)
    part = Choice(Part.choices, required=False)
    loose = Truth(required=False)


class TorqueShape(Shape):
    """How a kind of fastener is tightened."""

    fastener = Text(max_length=NAME_MAX, min_length=1)
    torque_nm = Number(min_value=0.01, max_value=TORQUE_MAX_NM)
    order = optional(Text, max_length=200)
    paint = Truth(required=False)


class WaitsShape(Shape):
    """Minutes to wait."""

    discharge_min = optional(Number, min_value=0, max_value=MINUTES_MAX)
    rest_min = optional(Number, min_value=0, max_value=MINUTES_MAX)


class PassMarksShape(Shape):
    """What a module of the type must show."""

    capacity_ah = optional(Number, min_value=0, max_value=LARGE)
    resistance_mohm = optional(Number, min_value=0, max_value=LARGE)
    stand_mv_per_day = optional(Number, min_value=0, max_value=LARGE)
    settled_pct = optional(Number, min_value=0.01, max_value=100)


class ProtocolShape(Shape):
    """How capacity and resistance are measured."""

    charge_a = optional(Number, min_value=0, max_value=CURRENT_MAX_A)
    charge_ah = optional(Number, min_value=0, max_value=LARGE)
    stop_temperature_c = optional(Number, min_value=COLDEST_C, max_value=HOTTEST_C)
    rest_min = optional(Number, min_value=0, max_value=MINUTES_MAX)
    discharge_a = optional(Number, min_value=0, max_value=CURRENT_MAX_A)
    cut_off_cell_v = optional(Number, min_value=0, max_value=10)
    cycles = optional(Whole, min_value=1, max_value=100)
    pulse_a = optional(Number, min_value=0, max_value=CURRENT_MAX_A)
    pulse_s = optional(Number, min_value=0, max_value=3600)


class BusShape(Shape):
    """The car's side of the contactors."""

    capacitance_uf = optional(Number, min_value=0, max_value=LARGE)
    pack_resistance_mohm = optional(Number, min_value=0, max_value=LARGE)


class LayoutShape(Shape):
    """All that the bench needs to know of a type; null or left out: the type does not say."""

    switch_after = optional(Whole, min_value=1)
    second_person = optional(Truth)
    positions = optional(SeatShape, many=True, max_length=ROWS_MAX)
    slots = optional(SlotShape, many=True, max_length=ROWS_MAX)
    fasteners = optional(FastenerShape, many=True, max_length=ROWS_MAX)
    torques = optional(TorqueShape, many=True, max_length=ROWS_MAX)
    waits = optional(WaitsShape)
    pass_marks = optional(PassMarksShape)
    protocol = optional(ProtocolShape)
    bus = optional(BusShape)
    stock_minimum = serializers.DictField(
        child=Whole(max_value=ROWS_MAX), required=False, allow_null=True
    )


class LayoutAnswer(serializers.Serializer[Any]):
    """The same as it is answered: complete, with empties where the type does not say."""

    switch_after = serializers.IntegerField(source="layout.switch_after", allow_null=True)
    second_person = serializers.BooleanField(source="layout.second_person")
    positions = SeatShape(source="layout.positions", many=True)
    slots = SlotShape(source="layout.slots", many=True)
    fasteners = FastenerShape(source="layout.fasteners", many=True)
    torques = TorqueShape(source="layout.torques", many=True)
    waits = WaitsShape(source="layout.waits")
    pass_marks = PassMarksShape(source="layout.pass_marks")
    protocol = ProtocolShape(source="layout.protocol")
    bus = BusShape(source="layout.bus")
    stock_minimum = serializers.DictField(
        source="layout.stock_minimum", child=serializers.IntegerField()
    )
