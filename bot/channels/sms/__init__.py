"""Text messages, by way of a modem that gammu-smsd runs."""
