"""What the intake is measured against: a server with ordinary views beside the service's own."""

import json
from datetime import datetime

import numpy as np
from django.db import models, transaction
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.urls import include, path
from django.utils import timezone
from django.views.decorators.csrf import csrf_exempt
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from packs.models import Pack, VoltageCheck


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


@csrf_exempt
def bare(request: HttpRequest) -> HttpResponse:
    """One check stored with what it makes of its pack, and nothing looked at."""
    said = json.loads(request.body)
    with transaction.atomic():
        pack = Pack.objects.select_for_update().get(serial=said["pack"])
        pack.revision += 1
        pack.settled_at = pack.estimate_due_at = timezone.now()
        pack.last_contact = datetime.fromisoformat(said["taken_at"])
        pack.save(update_fields=["revision", "settled_at", "last_contact", "estimate_due_at"])
        made = VoltageCheck.objects.create(
            pack=pack,
            revision=pack.revision,
            recorded_at=pack.settled_at,
            client_id=said["client"],
            digest=bytes(32),
            taken_at=pack.last_contact,
            voltages=np.rint(np.array(said["voltages_v"]) * 10_000),
            spread_v=0.1,
            median_v=7.9,
            **{name: said[name] for name in ("level", "condition", "current_a", "external_id")},
        )
    return JsonResponse({"id": made.pk}, status=201)


urlpatterns = [
    path("rivals/bare/", bare),
    path("rivals/stock/", Stock.as_view()),
    path("rivals/plain/", Plain.as_view()),
    path("", include("shop.urls")),
]
