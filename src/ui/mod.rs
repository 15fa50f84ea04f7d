//! The window. It draws the newest snapshot and sends intents; it knows nothing of the commands.
