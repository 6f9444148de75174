from django.apps import AppConfig


class TokensConfig(AppConfig):
    name = "portal.tokens"
    label = "tokens"
