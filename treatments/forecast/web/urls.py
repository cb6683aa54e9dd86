from django.urls import URLPattern

app_name = "forecast"
urlpatterns: list[URLPattern] = []
