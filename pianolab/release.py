"""Which release of pianolab this is; the lowest module of all, so that every other may say it."""

VERSION = "0.1.0"
