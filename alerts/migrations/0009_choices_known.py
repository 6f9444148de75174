"""Words to choose from are known to the database: of new rows first, which reads none."""

from django.db import migrations, models

from portal.choices import AddKnown


class Migration(migrations.Migration):
    # Each table is held for a moment, and none while the next is waited for.
    atomic = False

    dependencies = [("alerts", "0008_contact_known_by")]

    operations = [
        AddKnown(
            "groupoutcome",
            models.CheckConstraint(
                condition=models.Q(
                    counts_as__in=[
                        "source_stopped",
                        "source_suspected",
                        "natural",
                        "method_error",
                        "not_confirmed",
                        "no_response",
                        "duplicate",
                    ]
                ),
                name="outcome_counts_as_known",
            ),
        ),
        AddKnown(
            "incident",
            models.CheckConstraint(
                condition=models.Q(
                    outcome__in=[
                        "",
                        "source_stopped",
                        "source_suspected",
                        "natural",
                        "method_error",
                        "not_confirmed",
                        "no_response",
                        "duplicate",
                    ],
                    state__in=["held", "open", "acknowledged", "investigated", "withdrawn", "closed"],
                ),
                name="incident_words_known",
            ),
        ),
        AddKnown(
            "incidentevent",
            models.CheckConstraint(
                condition=models.Q(
                    kind__in=[
                        "opened",
                        "held",
                        "told",
                        "nobody_named",
                        "joined",
                        "updated",
                        "lifted",
                        "confirmed",
                        "returned",
                        "withdrawn",
                        "acknowledged",
                        "unanswered",
                        "coordinators_told",
                        "undeliverable",
                        "reminded",
                        "investigated",
                        "forwarded",
                        "quiet",
                        "repeat_asked",
                        "repeat_taken",
                        "repeat_made",
                        "repeat_lapsed",
                        "note",
                        "closed",
                    ]
                ),
                name="incident_event_known",
            ),
        ),
        AddKnown(
            "repeatrequest",
            models.CheckConstraint(
                condition=models.Q(state__in=["open", "taken", "done", "lapsed", "cancelled"]),
                name="repeat_state_known",
            ),
        ),
        AddKnown(
            "verdict",
            models.CheckConstraint(
                condition=models.Q(outcome__in=["below", "not_below", "not_tested"]),
                name="verdict_outcome_known",
            ),
        ),
    ]
