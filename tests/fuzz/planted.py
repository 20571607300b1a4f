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
        (MESSAGES, "fields.whole(limits.TTL_MIN_S, limits.TTL_MAX_S)", "fields.whole(limits.TTL_MIN_S, 300)"),
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
    "hub-settings": [
        ("hub/fiftyover/settings.py", "and abs(value) < 1e300:", "and value is not None:"),
        ("hub/fiftyover/settings.py", "if not _loopback(settings.web.host) and", "if settings.web.host == '::' and"),
    ],
    "kit-settings": [
        ("firmware/fiftyover_kit/settings.py", "if inputs.count(one) > 1:", "if inputs.count(one) > 2:"),
        ("firmware/fiftyover_kit/settings.py", "not isinstance(given, dict) or len(given) != 1:",
         "not isinstance(given, dict) or len(given) > 1:"),
    ],
    "recipe": [
        ("hub/fiftyover/batch/quantity.py", "    if int(below) == 0:", "    if int(below) < 0:"),
        ("hub/fiftyover/batch/recipe.py", "if recipe.cure.number != 1 or", "if recipe.cure.number > 2 or"),
    ],
    "http": [
        ("hub/fiftyover/web/fence.py", "    if not isinstance(body, dict):", "    if body is None:"),
        ("hub/fiftyover/web/pages.py", "if kind not in WATCHER_MARKS:", "if kind == \"pulled\":"),
        ("hub/fiftyover/batch/day.py", "all(type(one) is int and one in day.iced_s for one in numbers)",
         "set(numbers) <= set(day.iced_s)"),
    ],
}  # fmt: skip
