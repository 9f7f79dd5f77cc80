"""Addresses of what is true."""

from django.urls import URLPattern, URLResolver

app_name = "program"
urlpatterns: list[URLPattern | URLResolver] = []
