"""What the intake is measured against: a server with two ordinary views beside the service's own."""

from django.db import models
from django.urls import include, path
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView


class Reading(models.Model):
    """A voltage, a row."""

    pack = models.ForeignKey("packs.Pack", models.PROTECT, related_name="+")
    taken_at = models.DateTimeField()
    position = models.PositiveSmallIntegerField()
    voltage_v = models.FloatField()

    class Meta:
        app_label = "rivals"


class ReadingSerializer(serializers.ModelSerializer[Reading]):
    class Meta:
        model = Reading
        fields = "__all__"


class PlainSerializer(serializers.Serializer[Reading]):
    pack = serializers.IntegerField()
    taken_at = serializers.DateTimeField()
    position = serializers.IntegerField(min_value=1)
    voltage_v = serializers.FloatField()


class Stock(APIView):
    """A row a reading, as the framework's own serializer stores a list."""

    authentication_classes = ()
    permission_classes = ()

    def post(self, request: Request) -> Response:
        read = ReadingSerializer(data=request.data, many=True)
        read.is_valid(raise_exception=True)
        read.save()
        return Response(status=201)


class Plain(APIView):
    """A row a reading, by a plain serializer and bulk_create."""

    authentication_classes = ()
    permission_classes = ()

    def post(self, request: Request) -> Response:
        read = PlainSerializer(data=request.data, many=True)
        read.is_valid(raise_exception=True)
        rows = [Reading(pack_id=said.pop("pack"), **said) for said in read.validated_data]
        Reading._default_manager.bulk_create(rows)
        return Response(status=201)


urlpatterns = [
    path("rivals/stock/", Stock.as_view()),
    path("rivals/plain/", Plain.as_view()),
    path("", include("shop.urls")),
]
