"""The house as an application of Django, with the Celery app to which its tasks belong."""

from django.apps import AppConfig

from shop.celery import app

__all__ = ["ShopConfig", "app"]


class ShopConfig(AppConfig):
    name = "shop"
    default_auto_field = "django.db.models.BigAutoField"
