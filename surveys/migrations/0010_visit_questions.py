import uuid

import django.db.models.deletion
from django.conf import settings
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
        ("surveys", "0009_site_on_the_rota"),
    ]

    operations = [
        migrations.CreateModel(
            name="VisitQuestion",
            fields=[
                (
                    "id",
                    models.UUIDField(default=uuid.uuid4, editable=False, primary_key=True, serialize=False),
                ),
                ("text", models.TextField(verbose_name="question")),
                ("asked_at", models.DateTimeField(auto_now_add=True)),
                ("answer", models.TextField(blank=True, verbose_name="answer")),
                ("answered_at", models.DateTimeField(blank=True, null=True)),
                (
                    "asked_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "asked_of",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "visit",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="questions",
                        to="surveys.visit",
                    ),
                ),
            ],
            options={
                "ordering": ["asked_at"],
                "indexes": [models.Index(fields=["asked_of", "answered_at"], name="question_open_of")],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(("text", ""), _negated=True), name="question_says_something"
                    ),
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("answer", ""), ("answered_at", None)),
                            models.Q(models.Q(("answer", ""), _negated=True), ("answered_at__isnull", False)),
                            _connector="OR",
                        ),
                        name="question_answered_with_words",
                    ),
                ],
            },
        ),
    ]
