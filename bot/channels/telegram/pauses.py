"""How long the platform wants to be left alone."""

from __future__ import annotations

from datetime import timedelta

from telegram.error import RetryAfter


def asked_pause(fault: RetryAfter) -> float:
    """Seconds that a refusal asks for."""
    wait = fault.retry_after
    return wait.total_seconds() if isinstance(wait, timedelta) else float(wait)
