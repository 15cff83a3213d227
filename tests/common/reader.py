"""A reader of the screen: finds what the window offers to assistive technology and uses it, by name.

Runs within a D-Bus session; needs gir1.2-atspi-2.0 and python3-gi. Reads one command a line, answers one line each:

    see NAME        the name of something whose name contains NAME, or "no"
    press NAME      presses the button, switch or choice of this name: "ok", or "no" if there is none that can be pressed
    focus NAME      gives the field of this name the keyboard: "ok" when it has it, else "no"
    all             every name, separated by " | "
"""

import sys
import warnings

import gi

gi.require_version("Atspi", "2.0")
gi.require_version("Gio", "2.0")
from gi.repository import Atspi, Gio, GLib  # noqa: E402

warnings.simplefilter("ignore")


def switch_on():
    """Tells programs that somebody reads the screen; without that they offer nothing."""
    bus = Gio.bus_get_sync(Gio.BusType.SESSION, None)
    wanted = GLib.Variant("(ssv)", ("org.a11y.Status", "IsEnabled", GLib.Variant("b", True)))
    bus.call_sync(
        "org.a11y.Bus", "/org/a11y/bus", "org.freedesktop.DBus.Properties", "Set", wanted, None,
        Gio.DBusCallFlags.NONE, -1, None,
    )


def below(thing):
    """A thing and all in it."""
    yield thing
    for i in range(thing.get_child_count()):
        child = thing.get_child_at_index(i)
        if child is not None:
            yield from below(child)


def things():
    desktop = Atspi.get_desktop(0)
    for i in range(desktop.get_child_count()):
        program = desktop.get_child_at_index(i)
        if program is not None and program.get_name() == "cableside":
            # Nothing remembered: the window changes all the time.
            program.clear_cache()
            yield from below(program)


def press(name):
    for thing in things():
        if thing.get_name() == name and thing.get_role() != Atspi.Role.LABEL:
            if thing.get_state_set().contains(Atspi.StateType.ENABLED) and thing.do_action(0):
                return "ok"
    return "no"


def focus(name):
    for thing in things():
        if thing.get_name() == name and thing.get_role() != Atspi.Role.LABEL:
            if thing.get_state_set().contains(Atspi.StateType.FOCUSED):
                return "ok"
            thing.grab_focus()
    return "no"


def see(name):
    return next((t.get_name() for t in things() if name in (t.get_name() or "")), "no")


def answer(line):
    command, _, name = line.partition(" ")
    if command == "see":
        return see(name)
    if command == "press":
        return press(name)
    if command == "focus":
        return focus(name)
    return " | ".join(t.get_name() for t in things() if t.get_name())


switch_on()
Atspi.init()
print("ready", flush=True)
for line in sys.stdin:
    try:
        said = answer(line.rstrip("\n"))
    except GLib.Error:
        # What was there a moment ago is gone.
        said = "no"
    print(said.replace("\n", " "), flush=True)
