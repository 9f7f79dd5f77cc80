"""Addresses of what is proposed and what is due."""

from django.urls import URLPattern, URLResolver

app_name = "scheduling"
urlpatterns: list[URLPattern | URLResolver] = []
