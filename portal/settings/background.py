"""Work behind the pages: Celery and what it does by the clock."""

from portal.settings.caches import REDIS_URL

CELERY_BROKER_URL = REDIS_URL
CELERY_TASK_ACKS_LATE = CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_TASK_IGNORE_RESULT = True
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_TRANSPORT_OPTIONS = {"visibility_timeout": 600, "socket_connect_timeout": 2}
# A nudge must never hold a page up: when the broker is gone the sweep delivers instead.
CELERY_TASK_PUBLISH_RETRY = False
CELERY_TIMEZONE = "UTC"
CELERY_BEAT_SCHEDULER = "portal.outbox.scheduler:SteadyScheduler"
CELERY_BEAT_SCHEDULE = {
    "deliver-owed-messages": {"task": "portal.outbox.tasks.sweep_outbox", "schedule": 10.0},
    "watch-incidents": {"task": "alerts.tasks.watch_incidents", "schedule": 60.0},
    "watch-repeats": {"task": "alerts.tasks.watch_repeat_visits", "schedule": 60.0},
    "watch-safe-returns": {"task": "surveys.tasks.watch_safe_returns", "schedule": 30.0},
    "let-go": {"task": "portal.privacy.tasks.let_go", "schedule": 3600.0},
    "remind-of-trainings": {"task": "surveys.people.tasks.remind_of_lapsing", "schedule": 3600.0},
    "remind-of-visits": {"task": "rota.tasks.remind", "schedule": 600.0},
    "clear-old-sheets": {"task": "surveys.tasks.clear_old_sheets", "schedule": 3600.0},
    "keep-open-data": {"task": "portal.public.tasks.keep_open_data", "schedule": 300.0},
    "seal-trail": {"task": "portal.audit.tasks.seal_trail", "schedule": 60.0},
    "resume-jobs": {"task": "portal.jobs.tasks.resume_jobs", "schedule": 60.0},
}
