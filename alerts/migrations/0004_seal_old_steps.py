"""Seal the steps that were written before there was a chain, in the order of their times."""

from django.db import migrations
from django.utils import timezone

from alerts.chain.sealing import NO_SEAL, moment, seal_of, sealed_form


def seal_old_steps(apps, schema_editor):
    events = apps.get_model("alerts", "IncidentEvent")
    incidents = apps.get_model("alerts", "Incident")
    entries = apps.get_model("audit", "AuditEntry")
    later = moment(timezone.now())
    for incident in incidents._base_manager.order_by("pk").iterator():
        seal = NO_SEAL
        steps = events._base_manager.filter(incident_id=incident.pk)
        for sequence, step in enumerate(steps.order_by("at", "id"), start=1):
            step.sequence, step.facts = sequence, {"sealed_later": later}
            seal = step.seal = seal_of(seal, sealed_form(step))
            step.save(update_fields=["sequence", "facts", "seal"])
            entries._base_manager.create(
                group_id=incident.group_id,
                actor_name="Rifflebook",
                verb="incident.step",
                object_type="alerts.incident",
                object_id=incident.pk,
                changes={"sequence": sequence, "seal": seal},
            )


def unseal(apps, schema_editor):
    events = apps.get_model("alerts", "IncidentEvent")
    # The audit rows stay: the database refuses to delete them.
    events._base_manager.update(sequence=None, facts={}, seal="")


class Migration(migrations.Migration):
    dependencies = [("alerts", "0003_follow_up"), ("audit", "0002_append_only")]

    operations = [migrations.RunPython(seal_old_steps, unseal)]
