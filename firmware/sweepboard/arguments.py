"""The arguments of a command: what each must be, and the answer where it is not."""

import json

MOST_ID = 0x7FFFFFFF


class RefusedError(Exception):
    """A command that is not carried out: `error` is a word of the wire, `reason` a sentence."""

    def __init__(self, error, reason):
        super().__init__(reason)
        self.error = error
        self.reason = reason


def shown(value):
    """Return a value as text that fits a reply."""
    try:
        text = repr(value)
    except (RuntimeError, MemoryError):  # brackets too deep for the board's stack
        return "something too deep to show"
    return text if len(text) <= 40 else text[:37] + "..."


def whole(low, high):
    """Return a check for a whole number from `low` to `high`."""

    def check(name, value):
        if isinstance(value, bool) or not isinstance(value, int):
            raise RefusedError("malformed", "%s is %s, not a whole number" % (name, shown(value)))
        if not low <= value <= high:
            raise RefusedError(
                "out-of-range", "%s is %s, not from %d to %d" % (name, shown(value), low, high)
            )
        return value

    return check


def switch(name, value):
    """Check for true or false."""
    if value is True or value is False:
        return value
    raise RefusedError("malformed", "%s is %s, not true or false" % (name, shown(value)))


def one_of(words):
    """Return a check for one of `words`."""

    def check(name, value):
        if not isinstance(value, str):
            raise RefusedError("malformed", "%s is %s, not a word" % (name, shown(value)))
        if value not in words:
            raise RefusedError(
                "out-of-range", "%s is %s, not one of %s" % (name, shown(value), ", ".join(words))
            )
        return value

    return check


def checked(command, takes):
    """Return the arguments of `command` (a dict) by `takes`: name -> (check, default or None where needed)."""
    for name in command:
        if name not in takes and name not in ("id", "cmd"):
            raise RefusedError("malformed", "%s takes no %s" % (command["cmd"], shown(name)))
    values = {}
    for name, (check, default) in takes.items():
        if name in command:
            values[name] = check(name, command[name])
        elif default is None:
            raise RefusedError("malformed", "%s needs %s" % (command["cmd"], name))
        else:
            values[name] = default
    return values


def parsed(payload):
    """Return the JSON object in `payload`; RefusedError where there is none."""
    try:
        command = json.loads(payload)
    except (
        ValueError,
        RuntimeError,
        MemoryError,
    ):  # what json raises, by Python; RecursionError is a RuntimeError
        raise RefusedError("malformed", "the payload is no JSON") from None
    if not isinstance(command, dict):
        raise RefusedError("malformed", "the payload is no JSON object")
    return command


def number_of(command):
    """Return the id of a command; RefusedError where it has none."""
    number = command.get("id")
    if isinstance(number, bool) or not isinstance(number, int) or not 0 <= number <= MOST_ID:
        raise RefusedError(
            "malformed", "id is %s, not a whole number from 0 to %d" % (shown(number), MOST_ID)
        )
    return number


def named(command, table):
    """Return what `table` holds for a command's name; RefusedError where it has none or an unknown one."""
    name = command.get("cmd")
    if not isinstance(name, str):
        raise RefusedError("malformed", "cmd is %s, not a word" % shown(name))
    if name not in table:
        raise RefusedError("unknown-command", "there is no command %s" % shown(name))
    return table[name]
