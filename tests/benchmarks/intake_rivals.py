"""What the intake is measured against: a server with two ordinary views beside the service's own."""

import django
from django.apps import apps
from django.conf import settings
from django.core.wsgi import get_wsgi_application
from django.db import models
from django.urls import include, path
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

if not apps.ready:
    django.setup()
settings.ROOT_URLCONF = __name__


class Reading(models.Model):
    """A voltage, a row."""

    pack = models.ForeignKey("packs.Pack", models.PROTECT, related_name="+")
    taken_at = models.DateTimeField()
    position = models.PositiveSmallIntegerField()
    voltage_v = models.FloatField()

    class Meta:
        app_label = "rivals"


class PlainCheck(models.Model):
    """A check, a row, without anything worked out."""

    pack = models.ForeignKey("packs.Pack", models.PROTECT, related_name="+")
    taken_at = models.DateTimeField()
    level = models.CharField(max_length=6)
    condition = models.CharField(max_length=6)
    current_a = models.FloatField()
    voltages_v = models.JSONField()
    temperature_c = models.FloatField(null=True)
    odometer_km = models.IntegerField(null=True)
    external_id = models.CharField(max_length=200, unique=True)

    class Meta:
        app_label = "rivals"


class ReadingSerializer(serializers.ModelSerializer[Reading]):
    class Meta:
        model = Reading
        fields = "__all__"


class CheckSerializer(serializers.Serializer[PlainCheck]):
    pack = serializers.IntegerField()
    taken_at = serializers.DateTimeField()
    level = serializers.ChoiceField(["block", "module", "cell"])
    condition = serializers.ChoiceField(["rest", "load", "charge"])
    current_a = serializers.FloatField()
    voltages_v = serializers.ListField(child=serializers.FloatField())
    temperature_c = serializers.FloatField(required=False)
    odometer_km = serializers.IntegerField(required=False)
    external_id = serializers.CharField(max_length=200)


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
    """A row a check, by a plain serializer and bulk_create."""

    authentication_classes = ()
    permission_classes = ()

    def post(self, request: Request) -> Response:
        read = CheckSerializer(data=request.data, many=True)
        read.is_valid(raise_exception=True)
        named = [{"pack_id": said.pop("pack"), **said} for said in read.validated_data]
        rows = [PlainCheck(**said) for said in named]
        PlainCheck.objects.bulk_create(rows)
        return Response(status=201)


urlpatterns = [
    path("rivals/stock/", Stock.as_view()),
    path("rivals/plain/", Plain.as_view()),
    path("", include("shop.urls")),
]
application = get_wsgi_application()
