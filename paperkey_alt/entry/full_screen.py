"""The typing screen in a terminal: `run`. Needs the extra ``typing``."""

from __future__ import annotations

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
    Keys.Left: "left",
    Keys.Right: "right",
    Keys.Home: "home",
    Keys.End: "end",
    Keys.Backspace: "backspace",
    Keys.Delete: "delete",
    Keys.ControlA: "home",
    Keys.ControlE: "end",
    Keys.ControlU: "empty",
    Keys.ControlN: "put off",
    Keys.ControlP: "back",
    Keys.ControlG: "go",
    Keys.ControlQ: "stop",
    Keys.ControlC: "stop",
    Keys.ControlD: "stop",
}


def run(begun: Transcript, save: Callable[[Transcript], None]) -> Transcript:
    """Return the transcript as it is left; *save* is called with it after every key."""
    shown = screen.start(begun)

    def press(event: KeyPressEvent, keys: tuple[str, ...]) -> None:
        nonlocal shown
        for key in keys:
            shown = screen.press(shown, key)
            save(shown.transcript)
        if shown.left:
            event.app.exit()

    def where() -> Point:
        row, column = screen.cursor(shown)
        return Point(x=column, y=row)

    control = FormattedTextControl(
        lambda: "\n".join(screen.rows(shown)), focusable=True, get_cursor_position=where
    )
    application: Application[None] = Application(
        Layout(Window(control)),
        key_bindings=_bindings(press),
        full_screen=True,
        color_depth=ColorDepth.DEPTH_1_BIT,
    )
    if not shown.left:
        application.run()
    return shown.transcript


def _bindings(press: Callable[[KeyPressEvent, tuple[str, ...]], None]) -> KeyBindings:
    bindings = KeyBindings()
    for key, name in _KEYS.items():
        bindings.add(key)(lambda event, name=name: press(event, (name,)))
    bindings.add(Keys.Any)(lambda event: press(event, (event.data,)))
    bindings.add(Keys.BracketedPaste)(lambda event: press(event, tuple(event.data)))
    return bindings
