"""Touch: what players say of it, how it suits one of them, and what changed over the years."""

from pianolab.touch.preference import Preferences, preferences
from pianolab.touch.view import TouchView, touch_view

__all__ = ["Preferences", "TouchView", "preferences", "touch_view"]
