"""The talk over Telegram: updates come in and are kept, messages are laid out and sent."""

import os

# The library gives waiting times as timedelta when told so before it is imported; else it warns each time.
os.environ.setdefault("PTB_TIMEDELTA", "true")
