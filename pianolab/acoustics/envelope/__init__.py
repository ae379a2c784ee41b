"""How long a note lasts, while held and after it is let go, and the room in it."""
