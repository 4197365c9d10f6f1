"""The room of facts about packs."""

from django.apps import AppConfig


class PacksConfig(AppConfig):
    name = "packs"
    default_auto_field = "django.db.models.BigAutoField"
