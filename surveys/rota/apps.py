from django.apps import AppConfig


class RotaConfig(AppConfig):
    name = "surveys.rota"
    label = "rota"
