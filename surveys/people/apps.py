from django.apps import AppConfig


class PeopleConfig(AppConfig):
    name = "surveys.people"
    label = "people"
