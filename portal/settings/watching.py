"""What is noted, shown to monitors and refused when there is too much of it."""

from portal.settings.environment import env

# A request that no thread had time for in so many seconds is refused (503); 0: none is.
LONGEST_WAIT: float = env.float("LONGEST_WAIT", default=8.0)
# What takes longer is logged, ms; 0: nothing is.
SLOW_QUERY_MS: float = env.float("SLOW_QUERY_MS", default=500.0)
SLOW_TASK_MS: float = env.float("SLOW_TASK_MS", default=30_000.0)
# Whoever collects figures shows this; without it there is no page of figures.
METRICS_TOKEN: str = env.str("METRICS_TOKEN", default="")

LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "filters": {"without_tokens": {"()": "portal.serving.log_lines.WithoutTokens"}},
    "handlers": {"console": {"class": "logging.StreamHandler", "filters": ["without_tokens"]}},
    "root": {"handlers": ["console"], "level": env.str("LOG_LEVEL", default="INFO")},
    # Both tell of every step of every page they set.
    "loggers": {"weasyprint": {"level": "ERROR"}, "fontTools": {"level": "ERROR"}},
}
