"""Addresses of the pages that show facts alone."""

from django.urls import path

from packs.pages import customer, module, search

urlpatterns = [
    path("", search.search, name="home"),
    path("search/", search.search, name="search"),
    path("modules/<str:tag>/", module.module, name="module"),
    path("customers/<str:key>/", customer.customer, name="customer"),
]
