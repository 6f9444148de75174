"""Reports that wait or are being made get a job, which the sweep takes up."""

from django.db import migrations


def add_jobs(apps, schema_editor):
    Job = apps.get_model("jobs", "Job")
    reports = apps.get_model("reports", "YearlyReport").objects.filter(state__in=["queued", "running"])
    for report in reports.select_related("group"):
        report.job = Job.objects.create(
            group_id=report.group_id,
            started_by_id=report.made_by_id,
            kind="yearly_report",
            label=f"Report on {report.year}",
            parameters={"report": str(report.pk)},
            total=100,
            link=f"/groups/{report.group.slug}/reports/{report.pk}/",
        )
        report.state = "queued"
        report.save(update_fields=["job", "state"])


class Migration(migrations.Migration):
    dependencies = [("reports", "0003_reports_as_jobs")]

    operations = [migrations.RunPython(add_jobs, migrations.RunPython.noop)]
