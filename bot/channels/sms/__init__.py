"""The talk by text message: what the modem's daemon heard is read from its tables, answers are put there."""
