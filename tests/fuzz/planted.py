"""Bugs to plant in a copy of the tree, each for one harness: (file, the text there, what it becomes).

Each breaks a promise that a plausible slip would break; the harness has to find every one of them.
"""

FIELDS = "firmware/fiftyover_kit/contract/fields.py"
MESSAGES = "firmware/fiftyover_kit/contract/messages.py"
HEARING = "firmware/fiftyover_kit/hearing.py"
GUARD = "firmware/fiftyover_kit/guard.py"

BUGS = {
    "frame": [
        (FIELDS, "elif word in limits.STATUS_NUMBERLESS:", "elif word in limits.STATUS_HEATS and False:"),
        (FIELDS, "if type(value) is not int or not low <= value <= high:", "if not low <= value <= high:"),
        (FIELDS, "isinstance(value, bool) or not low <= value <= high", "isinstance(value, bool) or value < low"),
    ],
    "backlog": [
        (MESSAGES, 'if frame["seq"] <= past:', 'if frame["seq"] < past:'),
        (MESSAGES, "if index == limits.BACKLOG_MAX_FRAMES:", "if index > limits.BACKLOG_MAX_FRAMES:"),
    ],
    "ack": [
        (FIELDS, "if not past < first <= last:", "if not past <= first <= last:"),
        (FIELDS, "or len(pair) != 2:", "or len(pair) > 2:"),
    ],
    "grant": [
        (MESSAGES, "        if data.count(mark) != canonical.count(mark):", "        if False and mark:"),
        (MESSAGES, "return _checked(f\"{kind} {key}\", _STANDBY, value, (), True)",
         "return _checked(f\"{kind} {key}\", _STANDBY, value)"),
        (HEARING, "guard.on_grant(self._guard, now_ms, boot_ok, ours, retained,",
         "guard.on_grant(self._guard, now_ms, boot_ok, ours, 0,"),
    ],
    "stop": [
        (MESSAGES, "return _decode_strict(\"stop\", _STOP, data)",
         "return _checked(\"stop\", _STOP, _parsed(\"stop\", data))"),
        (FIELDS, "or len(value) != limits.BOOT_DIGITS or", "or len(value) > limits.BOOT_DIGITS or"),
    ],
    "description": [
        ("hub/fiftyover/app/kit_watch.py", "return degC if math.isfinite(degC) else None", "return degC"),
        ("hub/fiftyover/ingest/inbox.py", "    except UnicodeDecodeError:", "    except UnicodeEncodeError:"),
    ],
    "settings": [
        ("hub/fiftyover/settings.py", "and abs(value) < 1e300:", "and value is not None:"),
        ("firmware/fiftyover_kit/settings.py", "if inputs.count(one) > 1:", "if inputs[one] != one:"),
        ("firmware/fiftyover_kit/settings.py", "not isinstance(given, dict) or len(given) != 1:",
         "not isinstance(given, dict) or len(given) > 1:"),
    ],
    "http": [
        ("hub/fiftyover/web/fence.py", "    if not isinstance(body, dict):", "    if body is None:"),
        ("hub/fiftyover/web/pages.py", "if kind not in WATCHER_MARKS:", "if kind == \"pulled\":"),
        ("hub/fiftyover/batch/day.py", "all(type(one) is int and one in day.iced_s for one in numbers)",
         "set(numbers) <= set(day.iced_s)"),
    ],
}  # fmt: skip
