from django.apps import AppConfig


class PeopleConfig(AppConfig):
    name = "surveys.people"
    label = "people"

    def ready(self) -> None:
        """Say what follows when somebody joins, leaves or wants to be named."""
        from portal.accounts import moments
        from surveys.people.services.enquiries import finish_enquiries
        from surveys.people.services.records import let_go, require_adult

        moments.when_joined(finish_enquiries)
        moments.when_left(let_go)
        moments.before_naming(require_adult)
