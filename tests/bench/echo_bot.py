"""The plainest bot that the library can make: it says back what it hears. The benchmark's baseline."""

from __future__ import annotations

import os

os.environ.setdefault("PTB_TIMEDELTA", "true")

from telegram import Update
from telegram.ext import Application, ContextTypes, MessageHandler, filters


async def echo(update: Update, context: ContextTypes.DEFAULT_TYPE) -> None:
    if update.message and update.message.text:
        await update.message.reply_text(update.message.text)


def main() -> None:
    api = os.environ["SUMPLINE_TELEGRAM_API"]
    made = Application.builder().token(os.environ["SUMPLINE_TELEGRAM_TOKEN"])
    bot = made.base_url(f"{api}/bot").base_file_url(f"{api}/file/bot").build()
    bot.add_handler(MessageHandler(filters.ALL, echo))
    bot.run_polling()


if __name__ == "__main__":
    main()
