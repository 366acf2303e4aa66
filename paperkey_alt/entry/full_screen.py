"""The typing screen in a terminal: `run`. Needs the extra ``typing``."""

from __future__ import annotations

import time
from dataclasses import dataclass
from typing import TYPE_CHECKING

from prompt_toolkit.application import Application, get_app
from prompt_toolkit.data_structures import Point
from prompt_toolkit.key_binding import KeyBindings
from prompt_toolkit.keys import Keys
from prompt_toolkit.layout import Layout, Window
from prompt_toolkit.layout.controls import FormattedTextControl
from prompt_toolkit.output import ColorDepth

from paperkey_alt.entry import screen, window

if TYPE_CHECKING:
    from asyncio import TimerHandle
    from collections.abc import Callable

    from prompt_toolkit.key_binding import KeyPressEvent

    from paperkey_alt.entry.transcript import Transcript

_KEYS = {
    Keys.Enter: "enter",
    Keys.ControlJ: "enter",
    Keys.Left: "left",
    Keys.Right: "right",
    Keys.Home: "home",
    Keys.End: "end",
    Keys.Tab: "next group",
    Keys.BackTab: "group before",
    Keys.ControlRight: "next group",
    Keys.ControlLeft: "group before",
    Keys.Insert: "make room",
    Keys.Backspace: "backspace",
    Keys.Delete: "delete",
    Keys.ControlA: "home",
    Keys.ControlE: "end",
    Keys.ControlU: "empty",
    Keys.ControlN: "put off",
    Keys.ControlP: "back",
    Keys.Up: "back",
    Keys.Down: "forward",
    Keys.ControlZ: "undo",
    Keys.Escape: "cancel",
    Keys.ControlG: "go",
    Keys.ControlR: "aloud",
    Keys.ControlQ: "stop",
    Keys.ControlC: "stop",
    Keys.ControlD: "stop",
}

_QUIET = 0.5  # seconds without a key before the screen is left by itself


def run(
    begun: Transcript, save: Callable[[Transcript], None], *, has_bell: bool = False
) -> Transcript:
    """
    Return the transcript as it is left; *save* is called with it after every key. The terminal's
    bell rings at each line that is wrong, if it *has_bell*.
    """
    typing = _Typing(screen.start(begun), save, has_bell)
    control = FormattedTextControl(
        typing.text, focusable=True, get_cursor_position=typing.cursor_position
    )
    application: Application[None] = Application(
        Layout(Window(control)),
        key_bindings=_bindings(typing),
        full_screen=True,
        color_depth=ColorDepth.DEPTH_1_BIT,
    )
    if not typing.shown.left:
        application.run()
    return typing.shown.transcript


@dataclass
class _Typing:
    """The screen as it is *shown*, and what is to happen with it."""

    shown: screen.Screen
    save: Callable[[Transcript], None]
    has_bell: bool
    leaving: TimerHandle | None = None

    def press(self, event: KeyPressEvent, key: str) -> None:
        self._show(event, screen.press(self.shown, key, time.monotonic()), key)

    def paste(self, event: KeyPressEvent) -> None:
        self._show(event, screen.paste(self.shown, event.data))

    def _show(self, event: KeyPressEvent, changed: screen.Screen, key: str = "") -> None:
        if self.shown.left:
            # Keys may come behind those of the last line.
            if self.leaving is not None:
                self._leave(event)
            return
        is_new = changed.problem is not None and self.shown.problem is None
        self.shown = changed
        self.save(changed.transcript)
        if is_new and self.has_bell:
            event.app.output.bell()
        if key == "stop":
            event.app.exit()
        elif changed.left:
            self._leave(event)

    def _leave(self, event: KeyPressEvent) -> None:
        """Leave when nobody has pressed a key for a moment: the next program gets none of them."""
        if self.leaving is not None:
            self.leaving.cancel()
        loop = event.app.loop
        assert loop is not None
        self.leaving = loop.call_later(_QUIET, event.app.exit)

    def text(self) -> str:
        size = get_app().output.get_size()
        rows = window.rows(self.shown, size.columns, size.rows)
        # The cursor is shown only on a character.
        at, _ = window.cursor(self.shown, size.columns, size.rows)
        rows[at] = rows[at].ljust(size.columns)
        return "\n".join(rows)

    def cursor_position(self) -> Point:
        size = get_app().output.get_size()
        row, column = window.cursor(self.shown, size.columns, size.rows)
        return Point(x=column, y=row)


def _bindings(typing: _Typing) -> KeyBindings:
    bindings = KeyBindings()
    for key, name in _KEYS.items():
        bindings.add(key)(lambda event, name=name: typing.press(event, name))
    bindings.add(Keys.Any)(lambda event: typing.press(event, event.data))
    bindings.add(Keys.BracketedPaste)(typing.paste)
    return bindings
