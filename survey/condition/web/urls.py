from django.urls import URLPattern

app_name = "condition"
urlpatterns: list[URLPattern] = []
