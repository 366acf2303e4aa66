"""The typing screen in a terminal: `run`. Needs the extra ``typing``."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

from prompt_toolkit.application import Application
from prompt_toolkit.data_structures import Point
from prompt_toolkit.key_binding import KeyBindings
from prompt_toolkit.keys import Keys
from prompt_toolkit.layout import Layout, Window
from prompt_toolkit.layout.controls import FormattedTextControl
from prompt_toolkit.output import ColorDepth

from paperkey_alt.entry import screen

if TYPE_CHECKING:
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
    Keys.ControlG: "go",
    Keys.ControlR: "aloud",
    Keys.ControlQ: "stop",
    Keys.ControlC: "stop",
    Keys.ControlD: "stop",
}


def run(
    begun: Transcript, save: Callable[[Transcript], None], *, has_bell: bool = False
) -> Transcript:
    """
    Return the transcript as it is left; *save* is called with it after every key. The terminal's
    bell rings at each line that is wrong, if it *has_bell*.
    """
    shown = screen.start(begun)

    def show(event: KeyPressEvent, changed: screen.Screen) -> None:
        nonlocal shown
        if shown.left:
            # Keys of one piece of input come one after the other, also behind the last line.
            return
        is_new = changed.problem is not None and shown.problem is None
        shown = changed
        save(shown.transcript)
        if is_new and has_bell:
            event.app.output.bell()
        if shown.left:
            event.app.exit()

    def press(event: KeyPressEvent, key: str) -> None:
        show(event, screen.press(shown, key, time.monotonic()))

    def paste(event: KeyPressEvent) -> None:
        show(event, screen.paste(shown, event.data))

    def size() -> tuple[int, int]:
        there = application.output.get_size()
        return there.columns, there.rows

    def where() -> Point:
        row, column = screen.cursor(shown, *size())
        return Point(x=column, y=row)

    def text() -> str:
        wide, high = size()
        # The cursor is shown only on a character: each row is as wide as the window.
        return "\n".join(row.ljust(wide) for row in screen.rows(shown, wide, high))

    control = FormattedTextControl(text, focusable=True, get_cursor_position=where)
    application: Application[None] = Application(
        Layout(Window(control)),
        key_bindings=_bindings(press, paste),
        full_screen=True,
        color_depth=ColorDepth.DEPTH_1_BIT,
    )
    if not shown.left:
        application.run()
    return shown.transcript


def _bindings(
    press: Callable[[KeyPressEvent, str], None], paste: Callable[[KeyPressEvent], None]
) -> KeyBindings:
    bindings = KeyBindings()
    for key, name in _KEYS.items():
        bindings.add(key)(lambda event, name=name: press(event, name))
    bindings.add(Keys.Any)(lambda event: press(event, event.data))
    bindings.add(Keys.BracketedPaste)(paste)
    return bindings
