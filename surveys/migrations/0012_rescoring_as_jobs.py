"""Runs that scored visits anew become jobs, under the same numbers."""

from django.db import migrations

OVER = ("done", "stopped", "failed")


def move_runs(apps, schema_editor):
    Job = apps.get_model("jobs", "Job")
    for run in apps.get_model("surveys", "RescoreRun").objects.all():
        job = Job.objects.create(
            pk=run.pk,
            group_id=run.group_id,
            started_by_id=run.started_by_id,
            kind="rescoring",
            key="rescoring",
            label="Score visits anew",
            reason=run.reason,
            state=run.state,
            done=run.done,
            total=run.total,
            claimed_until=run.claimed_until,
            attempts=run.attempts,
            ended_at=run.created_at if run.state in OVER else None,
        )
        Job.objects.filter(pk=job.pk).update(created_at=run.created_at)


def move_back(apps, schema_editor):
    Run = apps.get_model("surveys", "RescoreRun")
    jobs = apps.get_model("jobs", "Job").objects.filter(kind="rescoring")
    for job in jobs:
        run = Run.objects.create(
            pk=job.pk,
            group_id=job.group_id,
            started_by_id=job.started_by_id,
            reason=job.reason,
            state=job.state,
            done=job.done,
            total=job.total,
            claimed_until=job.claimed_until,
            attempts=job.attempts,
        )
        Run.objects.filter(pk=run.pk).update(created_at=job.created_at)
    jobs.delete()


class Migration(migrations.Migration):
    dependencies = [("surveys", "0011_import_plans"), ("jobs", "0001_initial")]

    operations = [
        migrations.RunPython(move_runs, move_back),
        migrations.DeleteModel(name="RescoreRun"),
    ]
