"""Words to choose from are known to the database: of new rows first, which reads none."""

from django.db import migrations, models

from portal.choices import AddKnown


class Migration(migrations.Migration):
    # Each table is held for a moment, and none while the next is waited for.
    atomic = False

    dependencies = [("surveys", "0019_visit_revision")]

    operations = [
        AddKnown(
            "finding",
            models.CheckConstraint(
                condition=models.Q(decision__in=["", "accepted", "mended"]), name="finding_decision_known"
            ),
        ),
        AddKnown(
            "recordinglist",
            models.CheckConstraint(condition=models.Q(level__in=["family", "group"]), name="list_level_known"),
        ),
        AddKnown(
            "returnevent",
            models.CheckConstraint(
                condition=models.Q(
                    kind__in=[
                        "started",
                        "extended",
                        "reminded",
                        "again",
                        "coordinators",
                        "named",
                        "undeliverable",
                        "back",
                        "known_safe",
                    ]
                ),
                name="return_event_known",
            ),
        ),
        AddKnown(
            "returnnotice",
            models.CheckConstraint(
                condition=models.Q(step__in=[0, 1, 2, 3, 4]), name="return_notice_step_known"
            ),
        ),
        AddKnown(
            "safereturn",
            models.CheckConstraint(
                condition=models.Q(ended_how__in=["", "back", "known_safe"], step__in=[0, 1, 2, 3, 4]),
                name="safe_return_words_known",
            ),
        ),
        AddKnown(
            "site",
            models.CheckConstraint(
                condition=models.Q(
                    season_first_month__in=[1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12],
                    season_last_month__in=[1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12],
                ),
                name="site_season_known",
            ),
        ),
        AddKnown(
            "spoteffort",
            models.CheckConstraint(
                condition=models.Q(flow_type__in=["", "riffle", "run", "glide", "pool", "margin", "mouth"]),
                name="spot_flow_type_known",
            ),
        ),
        AddKnown(
            "visit",
            models.CheckConstraint(
                condition=models.Q(
                    clarity__in=["", "clear", "tinted", "cloudy", "opaque"],
                    not_made_reason__in=[
                        "",
                        "too_high",
                        "no_access",
                        "no_partner",
                        "illness",
                        "dry",
                        "weather",
                        "other",
                    ],
                    position_source__in=["", "phone", "photo", "typed"],
                    source__in=["form", "api", "import"],
                    status__in=["waiting", "returned", "approved"],
                    water_level__in=["", "low", "normal", "high", "spate"],
                    weather__in=["", "dry", "showers", "rain", "heavy_rain", "frost"],
                    weather_past_week__in=["", "dry", "showers", "rain", "heavy_rain", "frost"],
                ),
                name="visit_words_known",
            ),
        ),
    ]
